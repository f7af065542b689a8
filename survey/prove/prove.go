// Package prove compares what the map promises of a spot with what was measured
// there, with the module taped to it before it is glued.
//
// In come findings whose Proofs hold the runs captured at the spot, and the
// mounting; out goes a Proof: the promised and the measured errors, a test of the
// one against the other, the steady part at the spot, and a verdict.
//
// Start reading at Prove; steady.go has the steady part.
package prove

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Proof compares what was promised of a spot with what was measured there.
type Proof struct {
	Place    rank.Mount
	Promised rank.Spot
	Measured *heading.Error               // of the worst combination; nil: nothing was captured there
	Worst    []string                     // the loads of that combination
	Reversed []string                     // those of them whose current is reversed in it
	Loads    map[string]evaluate.Estimate // each load at its maximum current, as measured at the spot
	Steady   *Steady                      // nil: nothing at rest was captured there, or no background
	Captures int
	PValue   float64 // of the test that the error is no larger than promised; NaN without captures
	OK       bool    // proved
	Failed   bool    // a measurement contradicts the promise or breaks a limit; if neither is set, something is still to be measured
	Why      remark.Remark
	Notes    []remark.Remark
}

// significance is the probability under which a measurement contradicts the
// promise.
const significance = 0.05

const proofDraws = 8000

// Prove makes three comparisons at a mounting: a one-sided test that the true
// worst error is no larger than the promised upper bound; the measured upper
// bound against the budget; and the upper bound of the steady part, if it was
// measured, against its limit. Without captures there OK and Failed are false.
// The error is rank.ErrNoMap, wrapped, if no load was measured on the craft.
func Prove(ctx context.Context, f *evaluate.Findings, at rank.Mount) (*Proof, error) {
	if f.Map == nil || len(f.Map.Loads) == 0 {
		return nil, fmt.Errorf("no load was measured on the craft, so that nothing is promised of a spot: %w", rank.ErrNoMap)
	}
	p := &Proof{Place: at, PValue: math.NaN(), Loads: map[string]evaluate.Estimate{}}
	p.Promised = rank.PredictAt(ctx, f, at)
	measure(ctx, f, p)
	measureSteady(ctx, f, p)
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("prove the place: %w", err)
	}
	if p.Captures == 0 {
		p.Why = remark.New("prove.no_captures")
		return p, nil
	}
	judge(f, p)
	return p, nil
}

// measure reads the field of each load off the proof runs.
func measure(ctx context.Context, f *evaluate.Findings, p *Proof) {
	for _, l := range f.Craft.Loads {
		field, captures, notes := f.ProvedLoad(ctx, l, p.Place.At, p.Place.Foot())
		p.Notes = append(p.Notes, notes...)
		if captures > 0 {
			p.Captures += captures
			p.Loads[l.Name] = field
		}
	}
}

// judge sets the measured error, the test and the verdict.
func judge(f *evaluate.Findings, p *Proof) {
	w := evaluate.NewWorst(f.Craft, p.Loads)
	m := f.NewMounted()
	sensor := f.Craft.Module.SensorAt(p.Place.Foot(), 0)
	on := make([]heading.Load, len(w.Names))
	for i, n := range w.Names {
		on[i] = m.At(p.Loads[n], f.FieldOf(n), sensor)
	}
	got, combo := m.ErrorOf(on, w)
	p.Measured = &got
	p.Worst, p.Reversed = w.NamesOf(combo), w.ReversedOf(combo)
	sum := evaluate.Sum(on, combo)
	p.PValue = exceeds(f, sum, p.Promised.Shifting.Upper95)
	budget := f.Craft.Limits.HeadingErrorDeg
	var missing []string
	for _, l := range f.Loads {
		if _, ok := p.Loads[l.Name]; !ok {
			missing = append(missing, l.Name)
		}
	}
	switch {
	case p.PValue < significance:
		p.Failed = true
		p.Why = remark.New("prove.over_promise", remark.Values{"measured_deg": got.Estimate, "promised_deg": p.Promised.Shifting.Upper95, "p_value": p.PValue})
	case len(missing) > 0:
		p.Why = remark.New("prove.loads_missing", remark.Values{"loads": missing})
	case got.Upper95 > budget:
		p.Failed = true
		p.Why = remark.New("prove.over_budget", remark.Values{"up_to_deg": got.Upper95, "budget_deg": budget})
	case p.Steady != nil && p.Steady.OverLimit:
		p.Failed = true
		p.Why = remark.New("prove.over_steady_limit", remark.Values{"up_to_ut": p.Steady.UT.Upper95, "limit_ut": f.Craft.Limits.SteadyUT})
	default:
		p.OK = true
		p.Why = remark.New("prove.kept", remark.Values{"measured_deg": got.Estimate, "up_to_deg": got.Upper95, "promised_deg": p.Promised.Shifting.Upper95})
	}
}

// exceeds returns the p-value of a one-sided test: the probability of measuring
// an error at least as large as that of e if the true field has the direction of
// e and an error equal to the bound. It is 1 without an error. It is found by
// draws with a fixed seed and is never less than 1/8001.
func exceeds(f *evaluate.Findings, e evaluate.Estimate, boundDeg float64) float64 {
	tilt := f.Craft.Limits.TiltDeg
	got, _ := heading.Worst(e.Mean, f.HUT, tilt)
	if !(got > 0) {
		return 1
	}
	truth := shrunk(f, e.Mean, min(boundDeg, 180))
	cov := mat.NewSymDense(3, nil)
	for a := range 3 {
		for c := a; c < 3; c++ {
			cov.SetSym(a, c, e.Cov[a][c])
		}
	}
	z := magmath.NewNormal([]r3.Vec{e.Mean}, cov)
	rng := rand.New(rand.NewPCG(1, 0x9700f))
	worse := 0
	for range proofDraws {
		z.Draw(rng)
		deg, _ := heading.Worst(r3.Add(truth, r3.Sub(z.At(0), e.Mean)), f.HUT, tilt)
		if deg >= got {
			worse++
		}
	}
	return (float64(worse) + 1) / (proofDraws + 1)
}

// shrunk returns the multiple of d whose error is the bound, by bisection.
func shrunk(f *evaluate.Findings, d r3.Vec, boundDeg float64) r3.Vec {
	low, high := 0.0, 1.0
	for range 60 {
		if deg, _ := heading.Worst(r3.Scale(high, d), f.HUT, f.Craft.Limits.TiltDeg); deg >= boundDeg || high > 1e6 {
			break
		}
		high *= 2
	}
	for range 60 {
		mid := (low + high) / 2
		if deg, _ := heading.Worst(r3.Scale(mid, d), f.HUT, f.Craft.Limits.TiltDeg); deg < boundDeg {
			low = mid
		} else {
			high = mid
		}
	}
	return r3.Scale(low, d)
}

// MountToProve returns where a proof is asked for if nothing else is said: at the
// chosen spot, else where a proof was captured last. choice may be nil. ok is
// false if neither is known.
func MountToProve(f *evaluate.Findings, choice *logbook.Choice) (at rank.Mount, ok bool) {
	if choice != nil {
		return rank.ChosenMount(choice), true
	}
	if known := mounts(f); len(known) > 0 {
		return known[len(known)-1], true
	}
	return rank.Mount{}, false
}

// mounts returns the places where proof runs were captured, each once, in the
// order of the captures.
func mounts(f *evaluate.Findings) []rank.Mount {
	var out []rank.Mount
	for _, r := range f.Proofs {
		for _, c := range r.Valid() {
			if c.Visit == logbook.VisitBase {
				continue
			}
			if !slices.ContainsFunc(out, func(p rank.Mount) bool { return r3.Norm(r3.Sub(p.At, c.At)) <= evaluate.ProofReachMM }) {
				out = append(out, rank.Mount{At: c.At})
			}
		}
	}
	return out
}
