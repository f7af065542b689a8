package prove

import (
	"context"
	stdmaps "maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/room"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Steady is the steady part as measured at a spot, craft frame.
type Steady struct {
	evaluate.Estimate
	UT     heading.Quantiles // its magnitude
	Error  heading.Error
	PValue float64 // of the test that it agrees with the map; NaN if the map has no steady part

	OverLimit bool // its upper bound exceeds the builder's steady limit
}

// measureSteady estimates the steady part at the mounting from the proof runs'
// readings with everything off: the off levels of pulsed captures, and captures
// of unpowered runs. They are solved together with the survey's captures in one
// least-squares problem, so that background, drift, pose and place are treated
// as in the survey. It does nothing if no set-up has a background.
func measureSteady(ctx context.Context, f *evaluate.Findings, p *Proof) {
	e := f.From
	if e == nil {
		return
	}
	spot := len(e.Index.Stations)
	obs, offsets := slices.Clone(e.Obs), stdmaps.Clone(e.Offsets)
	for i, r := range f.Proofs {
		set, borrowed, ok := setupOf(e, r)
		if !ok {
			continue
		}
		run := len(f.Runs) + i
		if borrowed {
			offsets[run] = evaluate.BorrowedOffsetUT
		}
		obs = append(obs, atRest(e, r, p.Place, set, run, spot)...)
	}
	if !slices.ContainsFunc(obs, func(o room.Observation) bool { return o.Station == spot }) {
		return
	}
	solved, err := room.Solve(ctx, obs, append(e.Priors(), room.Station{}), room.Options{Hyper: e.Result.Hyper, OffsetUT: offsets, Fixed: true})
	if err != nil {
		p.Notes = append(p.Notes, remark.New("prove.steady_unknown", remark.Values{"error": err.Error()}))
		return
	}
	c, ok := solved.Craft(spot)
	if !ok {
		return
	}
	s := &Steady{Estimate: evaluate.Estimate{Mean: c.Mean, Cov: c.Cov.Add(excess(solved, obs, spot, e.Result.Hyper))}, PValue: math.NaN()}
	sampler := heading.NewSampler(1)
	s.UT = sampler.Magnitude(s.Mean, s.Cov)
	s.Error = sampler.Posterior(s.Mean, s.Cov, f.HUT, f.Craft.Limits.TiltDeg)
	p.Steady = s
	judgeSteady(f, p)
}

// excess returns the scatter at one place beyond its covariances, as a covariance
// of the mean: near a source that the map does not know, a slip of the hand
// changes the field by more than the map predicts. It uses the scatter of the
// residuals, because the field itself differs between rooms and directions of the
// nose.
func excess(solved *room.Result, obs []room.Observation, station int, h room.Hyper) magmath.Mat3 {
	var there []room.Observation
	var weight magmath.Mat3
	for i, o := range obs {
		if o.Station == station {
			rest, _ := solved.Residual(i)
			cov := o.Noise(h)
			there = append(there, room.Observation{B: rest, Cov: cov})
			weight = weight.Add(evaluate.Inverse(cov))
		}
	}
	return evaluate.Pooled(there).Cov.Add(evaluate.Inverse(weight).Scale(-1))
}

// setupOf returns the set-up whose background serves a proof run: that of the
// run's own session, else one with the nose in the same direction, which is
// borrowed.
func setupOf(e *evaluate.Evaluation, r *logbook.Run) (set int, borrowed, ok bool) {
	set = -1
	for i, s := range e.Setups {
		switch {
		case !e.Background[i] || evaluate.NoseDiffer(s.Nose, r.Header.NoseDeg):
		case s.Session == r.Header.Session:
			return i, false, true
		case set < 0:
			set = i
		}
	}
	return set, true, set >= 0
}

// atRest returns a proof run's readings with everything off, at the mounting and
// at the base station, with the numbers of set-up, run and station in the joint
// problem.
func atRest(e *evaluate.Evaluation, r *logbook.Run, at rank.Mount, set, run, spot int) []room.Observation {
	m := e.F.Craft.Measures()
	some, _ := evaluate.Locate(r, m.RangeUT)
	if r.Header.Pulsed {
		// Of a pulsed run only base returns rest throughout.
		some = slices.DeleteFunc(some, func(x evaluate.Reading) bool {
			return x.Capture.Visit != logbook.VisitBase || evaluate.Switched(x.Capture)
		})
		levels, _ := evaluate.Difference(r, m.RangeUT)
		some = append(some, slices.DeleteFunc(levels, func(x evaluate.Reading) bool { return !x.Off })...)
	} else if r.Header.State != survey.StateUnpowered {
		return nil
	}
	gradient := e.Result.Gradient(set)
	if g, ok := e.F.Map.Steady.(interface{ Gradient(r3.Vec) magmath.Mat3 }); ok {
		gradient = gradient.Add(g.Gradient(m.SensorAt(at.Foot(), 0)))
	}
	gradient = gradient.Mul(evaluate.PlaceShares)
	var out []room.Observation
	for _, x := range some {
		o := room.Observation{B: x.B, Cov: x.Cov, At: m.SensorAt(x.Capture.At, 0), TS: x.Ts, Room: set, Run: run, Craft: true, Load: room.NoLoad}
		base := slices.IndexFunc(e.Index.Stations, func(p evaluate.Place) bool { return p.IsBase && p.Name == x.Capture.Station })
		switch {
		case x.Saturated:
			continue
		case x.Capture.Visit == logbook.VisitBase || e.F.Craft.Base != nil && x.Capture.Station == e.F.Craft.Base.Name:
			if base < 0 {
				continue
			}
			o.Station = base
		case min(r3.Norm(r3.Sub(x.Capture.At, at.Foot())), r3.Norm(r3.Sub(x.Capture.At, at.At))) > proofReachMM:
			continue
		default:
			o.Station, o.Gradient = spot, gradient
		}
		out = append(out, o)
	}
	return out
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
