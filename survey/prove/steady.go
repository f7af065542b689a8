package prove

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
)

// Steady is the steady part as measured at a spot, craft frame.
type Steady struct {
	evaluate.Estimate
	UT     heading.Quantiles // its magnitude
	Error  heading.Error
	PValue float64 // of the test that it agrees with the map; NaN if the map has no steady part

	OverLimit bool // its upper bound exceeds the builder's steady limit
}

// measureSteady adds the steady part at the place, where the proof runs tell it.
func measureSteady(ctx context.Context, f *evaluate.Findings, p *Proof) {
	measured, ok, err := f.ProvedSteady(ctx, p.Place.At, p.Place.Foot())
	if err != nil {
		p.Notes = append(p.Notes, remark.New("prove.steady_unknown", remark.Values{"error": err}))
	}
	if !ok {
		return
	}
	s := &Steady{Estimate: measured, PValue: math.NaN()}
	m := f.NewMounted()
	s.Error, s.UT = m.SteadyError(m.At(measured, f.FieldOf(evaluate.PartSteady), f.Craft.Module.SensorAt(p.Place.Foot(), 0)))
	p.Steady = s
	judgeSteady(f, p)
}

// judgeSteady compares the steady part with the map and with the builder's limit.
func judgeSteady(f *evaluate.Findings, p *Proof) {
	s := p.Steady
	if f.Map.Steady != nil {
		mean, cov := f.Map.Steady.At(f.Craft.Module.SensorAt(p.Place.Foot(), 0))
		if q := magmath.Mahalanobis(r3.Sub(s.Mean, mean), cov.Add(s.Cov)); !math.IsInf(q, 1) {
			s.PValue = distuv.ChiSquared{K: 3}.Survival(q)
		}
	}
	if s.PValue < significance {
		p.Notes = append(p.Notes, remark.New("prove.steady_differs", remark.Values{"measured_ut": s.UT.Estimate, "promised_ut": p.Promised.SteadyUT.Upper95, "p_value": s.PValue}))
	}
	if limit := f.Craft.Limits.SteadyUT; limit > 0 && s.UT.Upper95 > limit {
		s.OverLimit = true
		p.Notes = append(p.Notes, remark.New("prove.steady_over_limit", remark.Values{"up_to_ut": s.UT.Upper95, "limit_ut": limit}))
	}
}
