// Package geomag computes the main geomagnetic field. What comes in are a
// spherical-harmonic model, such as the World Magnetic Model 2025 that the
// package holds, a place and a date; what goes out are the seven elements of the
// field with their yearly changes and uncertainties.
//
// Start reading at WMM2025 and Model.At.
//
// Places are on the WGS 84 ellipsoid: geodetic latitude and longitude in
// degrees, height above the ellipsoid in metres. Dates are decimal years.
// Fields are in nanotesla, as the standard gives them, with X to the north, Y
// to the east and Z down; angles are in degrees.
//
// The model holds the field of the Earth's core only: no crust, no magnetic
// storm, no building and no craft. Uncertainty returns the standard deviation of
// the field outdoors from it. At computes an answer outside the model's validity
// too: Validity and ZoneOf warn. Errors are for input that has no answer.
package geomag

import (
	"bytes"
	_ "embed"
	"math"
	"sync"

	"quietmount/magmath/remark"
)

// Model is a spherical-harmonic model of the main field with a linear change
// in time. It is never modified: any number of goroutines may use one.
type Model struct {
	name   string
	epoch  float64
	degree int
	terms  []term // column by column: order 0, degrees 1..N; order 1, degrees 1..N; order 2, degrees 2..N; ...
}

// term is one degree and order: the coefficients in nT and nT a year, and the
// factors of the Legendre recursion there.
type term struct {
	g, h, gDot, hDot float64
	lead, lag, root  float64
}

// wmm2025COF is the published coefficient file, byte for byte: an agreed
// checksum guards it in the tests.
//
// Source: NOAA NCEI and British Geological Survey, WMM.COF of the World
// Magnetic Model 2025, 13 November 2024; a work of the
// United States Government, not subject to copyright there.
//
//go:embed data/WMM2025.COF
var wmm2025COF []byte

// WMM2025 returns the World Magnetic Model 2025, degree 12.
func WMM2025() *Model { return wmm2025() }

var wmm2025 = sync.OnceValue(func() *Model {
	m, err := ReadCOF(bytes.NewReader(wmm2025COF), "WMM2025.COF")
	if err != nil {
		panic("geomag: embedded coefficients: " + err.Error()) // the file is part of the program
	}
	return m
})

// Name returns the model's name in its file, such as "WMM-2025".
func (m *Model) Name() string { return m.name }

// position returns the index of degree n and order m in the columns of a model of
// the given degree. Columns 0 and 1 hold all degrees, column m holds m..degree.
func position(degree, n, m int) int {
	if m == 0 {
		return n - 1
	}
	return degree + (m-1)*degree - (m-1)*(m-2)/2 + n - m
}

// newTerms returns the columns of a model of the given degree with zero
// coefficients and the recursion's factors filled in.
//
// Source for the recursion: Holmes and Featherstone (2002), A unified approach
// to the Clenshaw summation and the recursive computation of very high degree
// and order normalised associated Legendre functions, J. Geodesy 76, section
// 2.1 (standard forward column method), here for Schmidt semi-normalisation.
// It is safe from underflow far beyond maxDegree.
func newTerms(degree int) []term {
	terms := make([]term, 0, degree*(degree+3)/2)
	for m := range degree + 1 {
		for n := max(m, 1); n <= degree; n++ {
			root := math.Sqrt(float64(n*n - m*m))
			t := term{root: root}
			if n > m {
				t.lead = float64(2*n-1) / root
				t.lag = math.Sqrt(float64((n-1)*(n-1)-m*m)) / root
			}
			terms = append(terms, t)
		}
	}
	return terms
}

// The validity of the model: heights in metres above the ellipsoid, and years from
// the epoch.
// Source: MIL-PRF-89500B as quoted in Chulliat et al. (2025), sections 1.3
// and 3: -1 km to 850 km, five years.
const (
	validYears    = 5
	validLowestM  = -1e3
	validHighestM = 850e3
)

// ValidFrom returns the first decimal year of the model's validity: its epoch.
func (m *Model) ValidFrom() float64 { return m.epoch }

// ValidTo returns the last decimal year of the model's validity, five years after
// its epoch.
func (m *Model) ValidTo() float64 { return m.epoch + validYears }

// YearsOutside returns by how many years a decimal year lies outside the model's
// term, 0 within it; NaN gives NaN.
func (m *Model) YearsOutside(year float64) float64 {
	return max(0, m.ValidFrom()-year, year-m.ValidTo())
}

// Validity returns the remarks against using the model at a decimal year and a
// height above the ellipsoid in metres; none within its validity, ends included.
func (m *Model) Validity(year, altitudeM float64) []remark.Remark {
	var out []remark.Remark
	term := remark.Values{"model": m.name, "year": year, "from_year": m.ValidFrom(), "to_year": m.ValidTo()}
	switch {
	case year < m.ValidFrom():
		out = append(out, remark.New("geomag.before_term", term))
	case !(year <= m.ValidTo()):
		out = append(out, remark.New("geomag.after_term", term))
	}
	if !(altitudeM >= validLowestM && altitudeM <= validHighestM) {
		out = append(out, remark.New("geomag.height", remark.Values{
			"model": m.name, "altitude_m": altitudeM, "lowest_km": validLowestM / 1000.0, "highest_km": validHighestM / 1000.0,
		}))
	}
	return out
}
