package evaluate

import (
	"context"
	"math"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// LoadPlan is the uncertainty that a planned pulsed run of a load can reach,
// and the current or pulses needed to prove the budget.
type LoadPlan struct {
	CurrentA      float64 // as planned; 0: not stated, the maximum is taken
	MaxCurrentA   float64 // 0: a moving part, whose field is not scaled
	Pulses        int
	NoiseUT       float64 // of the probe over one second of one level, microtesla
	UncertaintyUT float64 // of a pulsed difference at one station, at the maximum current
	AllowedUT     float64 // what proves the budget: a quarter of H sin(budget)
	NeededA       float64 // with so many pulses
	NeededPulses  int     // with so much current
	Enough        bool
	Why           remark.Remark // what was worked out, and what would be enough
}

const (
	// usualNoiseUT is 0.3 uT at 50 readings a second correlated 0.6 from one to
	// the next: 12.5 independent readings a second. Common practice, no source.
	usualNoiseUT = 0.085
	allowedShare = 0.25 // of the budget's field
	leastPulses  = 4
)

// PlanLoad predicts, before a pulsed run of a load, what it can prove. The
// standard uncertainty of the difference at a station is
//
//	s = n sqrt(2/(P t)) Imax/I,
//
// with n the noise over one second, microtesla, and P pulses with t seconds of
// each level after the edges: the standard error of the difference of two
// means. It leaves out the error of placement by hand, which grows with the
// field itself. A load without a maximum current is not scaled.
func PlanLoad(l survey.Load, currentA *float64, r logbook.Rhythm, hUT, budgetDeg, noiseUT float64) LoadPlan {
	p := LoadPlan{MaxCurrentA: l.MaxCurrentA, Pulses: max(1, r.Pulses), NoiseUT: noiseUT}
	if !(p.NoiseUT > 0) {
		p.NoiseUT = usualNoiseUT
	}
	p.AllowedUT = allowedShare * hUT * math.Sin(min(90, max(0, budgetDeg))*math.Pi/180)
	one := p.NoiseUT * math.Sqrt(2/max(0.1, min(r.OnS, r.OffS)-r.DropS)) // of one pulse
	factor := 1.0
	if l.Kind == survey.LoadCurrent && currentA != nil && *currentA != 0 && l.MaxCurrentA > 0 {
		p.CurrentA = math.Abs(*currentA) // reversed polarity tells as much
		factor = l.MaxCurrentA / p.CurrentA
	}
	p.UncertaintyUT = factor * one / math.Sqrt(float64(p.Pulses))
	p.NeededA = min(p.MaxCurrentA, p.MaxCurrentA*one/math.Sqrt(float64(p.Pulses))/p.AllowedUT)
	need := math.Ceil(math.Pow(factor*one/p.AllowedUT, 2))
	p.NeededPulses = int(min(1e6, max(leastPulses, need)))
	p.Enough = p.UncertaintyUT <= p.AllowedUT && p.Pulses >= leastPulses
	p.Why = p.reason(l)
	return p
}

// reason returns what the plan comes to for load l.
func (p LoadPlan) reason(l survey.Load) remark.Remark {
	factor := 1.0
	if p.CurrentA > 0 && p.CurrentA < p.MaxCurrentA {
		factor = p.MaxCurrentA / p.CurrentA
	}
	values := remark.Values{
		"pulses": p.Pulses, "current_a": p.CurrentA, "uncertainty_ut": p.UncertaintyUT, "factor": factor,
		"max_current_a": p.MaxCurrentA, "allowed_ut": p.AllowedUT, "needed_a": p.NeededA, "needed_pulses": p.NeededPulses,
	}
	if p.Enough {
		return remark.New("evaluate.plan_enough", values).At(remark.Place{Load: l.Name})
	}
	return remark.New("evaluate.plan_short", values).At(remark.Place{Load: l.Name})
}

// NoiseOf returns the probe's noise over one second of rest, microtesla, from the
// captures that were not pulsed: the median. 0 where none can be read, or once
// ctx is done.
func NoiseOf(ctx context.Context, runs []*logbook.Run) float64 {
	var all []float64
	for _, r := range runs {
		if r.Header.Pulsed {
			continue
		}
		f := r.Header.Frame()
		for _, c := range r.Valid() {
			s := c.Series(f)
			e, err := dwell.Locate(ctx, s, dwell.Options{})
			if n := len(s.TS); err == nil && n > 1 {
				all = append(all, math.Sqrt(e.Cov.Trace()/3*(s.TS[n-1]-s.TS[0])))
			}
		}
		if len(all) > 60 {
			break
		}
	}
	return medianOr(all, 0)
}
