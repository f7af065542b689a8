package prove

import (
	"math"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
)

// Steady is the steady part as measured at a spot, craft frame.
type Steady struct {
	evaluate.Estimate
	UT     heading.Quantiles // its magnitude
	Error  heading.Error
	PValue float64 // of a steady part so far from the map's if the map is right; NaN if the map has none

	OverLimit bool // its upper bound exceeds the builder's steady limit
}

// takeSteady adds the steady part at the place, where the proof runs tell it.
func (p *Proof) takeSteady(f *evaluate.Findings, m *evaluate.Mounted, got *evaluate.Proved) {
	if got.Steady == nil {
		if f.Map.Steady != nil && got.Captures > 0 {
			p.Notes = append(p.Notes, remark.New("prove.steady_not_measured"))
		}
		return
	}
	s := &Steady{Estimate: *got.Steady, PValue: math.NaN()}
	s.Error, s.UT = m.SteadyError(m.At(s.Estimate, f.FieldOf(evaluate.PartSteady), f.Craft.Module.SensorAt(p.Place.Foot(), 0)))
	if off, ok := got.Off.Of(evaluate.PartSteady); ok {
		s.PValue = off.PValue()
	}
	p.Steady = s
	if s.PValue < Significance {
		p.Notes = append(p.Notes, remark.New("prove.steady_differs", remark.Values{"measured_ut": s.UT.Estimate, "promised_ut": p.Promised.SteadyUT.Upper95, "p_value": s.PValue}))
	}
	if limit := f.Craft.Limits.SteadyUT; limit > 0 && s.UT.Upper95 > limit {
		s.OverLimit = true
		p.Notes = append(p.Notes, remark.New("prove.steady_over_limit", remark.Values{"up_to_ut": s.UT.Upper95, "limit_ut": limit}))
	}
}
