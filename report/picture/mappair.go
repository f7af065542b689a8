package picture

import (
	"slices"

	"quietmount/report/draw"
	"quietmount/survey/findings"
)

// Ranked are findings with their ranking, nil where nothing can be ranked.
type Ranked struct {
	Findings *findings.Findings
	Ranking  *findings.Ranking
}

// MapPair draws one part of two findings of the same craft on one scale of
// colours: what is and what would be, say. It fails as Map does.
func MapPair(a, b Ranked, o MapOptions) ([2]*draw.Picture, error) {
	var out [2]*draw.Picture
	var both [2]*mapping
	var shown []float64
	for i, r := range []Ranked{a, b} {
		m, err := newMapping(r.Findings, r.Ranking, o)
		if err != nil {
			return out, err
		}
		m.scale()
		shown = append(shown, m.heat.shown...)
		both[i] = m
	}
	slices.Sort(shown)
	for i, m := range both {
		if m.q.at != nil {
			title, units := m.ramp.Title, m.ramp.Units
			m.ramp = draw.NewRamp(shown, m.q.limit)
			m.ramp.Title, m.ramp.Units = title, units
		}
		out[i] = m.picture()
	}
	return out, nil
}
