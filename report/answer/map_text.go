package answer

import (
	"fmt"
	"io"
	"maps"
	"math"
	"slices"

	"quietmount/magmath/heading"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/survey/evaluate"
)

// Text prints the stations as a table with what was not measured in words.
func (a Map) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	if h := a.Untrusted(); h != "" {
		p.Sentence(h)
	}
	runs := make([]string, len(a.Runs))
	for i, r := range a.Runs {
		runs[i] = fmt.Sprint(r)
	}
	p.Sentence(fmt.Sprintf("%s, %s: %s, runs %s.", say.Named(a.Craft), a.Date, say.Counted(len(a.Stations), "station"), say.Listed(runs)))
	p.Sentence(fmt.Sprintf("Reference field: %.1f uT, horizontal %.1f uT. %s", a.FUT, a.HUT, BasisWords(a.Basis)))
	p.Sentence("Heading errors, in degrees, are for " + a.HeadingAt + "; 95 %: the bound that holds with this certainty.")
	p.Line("")
	p.Table(a.table())
	p.Line("")
	if a.Turning != nil {
		a.turning(p)
	}
	for _, s := range slices.Concat(a.Asides(), mapTrust(a.LeftOut)) {
		p.Sentence(s)
	}
	for _, s := range a.Near() {
		p.Sentence("Caution: " + s)
	}
	a.Cautions.print(p)
	for _, f := range a.Pictures {
		p.Sentence("Drawn: " + f)
	}
	return p.Err()
}

// turning says what is permanent and what induced, station by station where the
// bench was turned.
func (a Map) turning(p *text.Printer) {
	t := text.Table{Head: [][]string{
		{"", "permanent", "", "", "induced", "", ""},
		{"station", "x", "y", "z", "x", "y", "z"},
		{"", "uT", "uT", "uT", "uT", "uT", "uT"},
	}}
	for _, s := range a.Stations {
		if s.PermanentUT == nil || s.InducedUT == nil {
			continue
		}
		row := []string{s.Name}
		for k := range 6 {
			v, cov := *s.PermanentUT, s.PermanentCovariance
			if k > 2 {
				v, cov = *s.InducedUT, s.InducedCovariance
			}
			row = append(row, fmt.Sprintf("%.1f +- %.1f", v[k%3], math.Sqrt(cov[k%3][k%3])))
		}
		t.Rows = append(t.Rows, row)
	}
	if len(t.Rows) > 0 {
		p.Table(t)
		p.Line("")
	}
	p.Sentence(a.Turning.Why)
}

// BasisWords returns in words what the disturbances are measured against.
func BasisWords(b evaluate.Basis) string {
	if b == evaluate.BasisVector {
		return "Disturbances are vectors against a measured background."
	}
	return "No background was measured: the steady part rests on magnitudes alone, a weaker basis."
}

func (a Map) table() text.Table {
	t := text.Table{Head: [][]string{
		{"", "", "", "", "steady", "steady", "", "shifting", "", "|B|"},
		{"station", "x", "y", "z", "|d|", "error", "95 %", "error", "95 %", "differs"},
		{"", "mm", "mm", "mm", "uT", "deg", "deg", "deg", "deg", "uT"},
	}}
	if a.Base != nil {
		t.Rows = append(t.Rows, StationRow(*a.Base))
		t.Rows[0][0] = "base " + t.Rows[0][0]
	}
	for _, s := range a.Stations {
		t.Rows = append(t.Rows, StationRow(s))
	}
	return t
}

// StationRow is a station as a row of cells; see Map.Cells.
func StationRow(s Station) []string {
	row := []string{s.Name, fmt.Sprintf("%.0f", s.Xmm), fmt.Sprintf("%.0f", s.Ymm), fmt.Sprintf("%.0f", s.Zmm), "-"}
	if v := s.SteadyUT; v != nil {
		row[4] = fmt.Sprintf("%.1f", math.Sqrt(v[0]*v[0]+v[1]*v[1]+v[2]*v[2]))
	}
	row = append(row, DegreesOf(s.SteadyHeadingError)...)
	row = append(row, DegreesOf(s.ShiftingHeadingError)...)
	if s.MagnitudeDifference == nil {
		return append(row, "-")
	}
	return append(row, say.Signed(*s.MagnitudeDifference))
}

// DegreesOf returns the table cells of an estimate and its upper 95 % bound,
// degrees; "any" where the compass can point anywhere.
func DegreesOf(e *heading.Error) []string {
	if e == nil {
		return []string{"-", "-"}
	}
	return []string{Degrees(e.Estimate), Degrees(e.Upper95)}
}

// Degrees returns a heading error in degrees, rounded as in all answers; "any"
// if the compass can point anywhere.
func Degrees(v float64) string {
	switch {
	case v >= 179.95:
		return "any"
	case v < 0.05:
		return "0.0"
	}
	return fmt.Sprintf("%.1f", v)
}

// Asides returns sentences on what the table leaves out; how far to trust the map
// between the stations is mapTrust's to say.
func (a Map) Asides() []string {
	var out []string
	var steady, shifting, any bool
	for _, s := range a.Stations {
		steady = steady || s.SteadyUT != nil
		shifting = shifting || s.ShiftingUT != nil
		any = any || s.AnyDirection
	}
	if !steady {
		out = append(out, "No vectors of the steady part: it takes an unpowered run and a background run with known axes.")
	}
	if !shifting {
		out = append(out, "No load was measured: the shifting part is unknown, and it is the part that nothing can calibrate away.")
	}
	if any {
		out = append(out, "any: the disturbance is as large as the horizontal field; the compass can point anywhere.")
	}
	if a.Factor != nil && *a.Factor > 1.005 && !a.holds(loadScaled) {
		out = append(out, scaledWords(*a.Factor))
	}
	return append(out, a.againstWords()...)
}

// mapTrust says how far each part's map can be trusted between stations.
func mapTrust(parts map[string]leftOut) []string {
	var out []string
	for _, part := range slices.Sorted(maps.Keys(parts)) {
		l := parts[part]
		if l.RMSEUT == nil || l.Inside95Fraction == nil {
			continue
		}
		out = append(out, fmt.Sprintf("Map of the %s part: each station predicted from the others is missed by %.2f uT a component (rms); %.0f %% lie inside their 95 %% interval.",
			part, *l.RMSEUT, 100**l.Inside95Fraction))
	}
	return out
}

// againstWords says what the magnitudes differ from.
func (a Map) againstWords() []string {
	seen := map[string]bool{}
	for _, s := range a.Stations {
		if s.MagnitudeDifference != nil {
			seen[s.MagnitudeAgainst] = true
		}
	}
	if len(seen) == 0 {
		return nil
	}
	return []string{"|B| differs: the magnitude with the craft less that of the " + say.Listed(slices.Sorted(maps.Keys(seen))) + " field."}
}

// Cells are the rows of the table of stations, the base first: name, x, y, z,
// size of the steady part, its error and bound, shifting error and bound,
// difference of the magnitude.
func (a Map) Cells() [][]string { return a.table().Rows }
