package geomag

import "fmt"

// Where the model is meant to be used: heights in metres above the ellipsoid,
// and years from the epoch.
// Source: MIL-PRF-89500B as quoted in Chulliat et al. (2025), sections 1.3
// and 3: -1 km to 850 km, five years.
const (
	validYears    = 5
	validLowestM  = -1e3
	validHighestM = 850e3
)

// ValidFrom is the first decimal year of the model's term: its epoch.
func (m *Model) ValidFrom() float64 { return m.epoch }

// ValidTo is the decimal year at which the term ends: five years later.
func (m *Model) ValidTo() float64 { return m.epoch + validYears }

// Validity says what is wrong with using the model at a decimal year and a
// height, one sentence each with the consequence; nothing is wrong if the
// result is empty. The term includes its first moment and its last.
func (m *Model) Validity(year, altitudeM float64) []string {
	var w []string
	switch {
	case year < m.ValidFrom():
		w = append(w, fmt.Sprintf("%.1f lies before the term of %s (%s): "+
			"the change of the field is run backwards, and declination may be wrong by more than the stated uncertainty; "+
			"use the model of that time", year, m.name, m.term()))
	case !(year <= m.ValidTo()):
		w = append(w, fmt.Sprintf("%.1f lies after the term of %s (%s): "+
			"the change of the field is no longer known, and declination may be wrong by more than the stated uncertainty, "+
			"more so every year; load the coefficient file of the newer model", year, m.name, m.term()))
	}
	if !(altitudeM >= validLowestM && altitudeM <= validHighestM) {
		w = append(w, fmt.Sprintf("%g m is outside the heights for which %s is stated (-1 km to 850 km above the ellipsoid): "+
			"the stated uncertainty does not hold there", altitudeM, m.name))
	}
	return w
}

func (m *Model) term() string { return fmt.Sprintf("%.1f to %.1f", m.ValidFrom(), m.ValidTo()) }
