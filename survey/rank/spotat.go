package rank

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/siting"
	"quietmount/survey/evaluate"
)

// heightSlackMM is the largest difference between a height given by hand and one
// of the craft file that counts as the same.
const heightSlackMM = 0.5

// SpotAt describes a place given by hand as Rank describes its spots, with Rank 0.
// at is the surface under the middle of the foot, craft frame, mm; a z above the
// mounting surface is a mounting height. broken names the constraints that the
// place breaks. The error is ErrNoMap, that of ctx once it is
// done, or that of a place that is not finite or lies under the surface.
func SpotAt(ctx context.Context, f *evaluate.Findings, at r3.Vec) (s *Spot, broken []string, err error) {
	if f.Map == nil || (f.Map.Steady == nil && len(f.Map.Loads) == 0) {
		return nil, nil, ErrNoMap
	}
	r := newRanker(ctx, f, Options{}.withDefaults())
	height := r.s.at(r2.Vec{X: at.X, Y: at.Y}).Z - at.Z
	switch {
	case math.IsNaN(height) || math.IsInf(height, 0):
		return nil, nil, fmt.Errorf("place %g, %g, %g: it is not finite", at.X, at.Y, at.Z)
	case height < -heightSlackMM:
		return nil, nil, fmt.Errorf("place %g, %g, %g lies %.0f mm under the mounting surface (z is down: the surface is at z = %.0f there)", at.X, at.Y, at.Z, -height, at.Z+height)
	case height < heightSlackMM:
		height = 0
	}
	p := siting.Place{At: r2.Vec{X: at.X, Y: at.Y}, HeightMM: height}
	r.cands = []siting.Candidate{{Place: p}}
	for _, c := range r.constraints() {
		if !c.Allows(p) {
			broken = append(broken, c.Name.String())
		}
	}
	if allowed := f.Craft.Heights; height > 0 && !slices.ContainsFunc(allowed, func(h float64) bool { return math.Abs(h-height) < heightSlackMM }) {
		broken = append(broken, "mounting height")
	}
	out := r.spot(0)
	if err := ctx.Err(); err != nil {
		return nil, nil, fmt.Errorf("describe a place: %w", err)
	}
	return &out, broken, nil
}

// PredictAt returns the map's prediction at a mounting place, allowed or not:
// errors and steady part, without tolerance, cable and balance. Its rank is 0.
// f must have a map. Once ctx is done the spot is unfinished: the caller asks ctx.
func PredictAt(ctx context.Context, f *evaluate.Findings, at Mount) Spot {
	s := newScorer(ctx, f)
	o := s.scoresAt([]r3.Vec{f.Craft.Module.SensorAt(at.Foot(), 0)}, everything)[0]
	out := Spot{At: at.At, HeightMM: at.HeightMM, BoundWithin: o.BudgetOK || !s.byShifting()}
	out.WithinBudget = out.BoundWithin
	s.fill(&out, o)
	out.NearestStation, _ = nearest(f, at.At)
	out.FromMarks = f.Craft.FromMarks(r2.Vec{X: at.At.X, Y: at.At.Y})
	out.ExtrapolationFactor = factorOf(f, out.WorstCombination)
	return out
}

// Rejudge returns a ranked spot with errors, steady part, limits and tolerance
// recomputed from other findings, such as those after a change. It keeps rank and
// cable. Once ctx is done the spot is unfinished: the caller asks ctx.
func Rejudge(ctx context.Context, f *evaluate.Findings, at Spot) Spot {
	r := newRanker(ctx, f, Options{}.withDefaults())
	p := siting.Place{At: r2.Vec{X: at.At.X, Y: at.At.Y}, HeightMM: at.HeightMM}
	o := r.s.full(p)
	r.s.fill(&at, o)
	r.bound(&at, o, p)
	return at
}

// fill puts a score into a spot, but for the budget.
func (s *scorer) fill(out *Spot, o score) {
	out.Shifting, out.Steady, out.SteadyUT, out.WithinSteady = o.Shifting, o.Steady, o.SteadyUT, o.SteadyOK
	out.Level, out.Expected = o.Level, o.Expected
	out.WorstCombination, out.WorstReversed = s.m.NamesOf(o.Combo), s.m.ReversedOf(o.Combo)
}

// factorOf returns the largest extrapolation factor among some loads, at least 1.
func factorOf(f *evaluate.Findings, names []string) float64 {
	most := 1.0
	for _, l := range f.Loads {
		if slices.Contains(names, l.Name) {
			most = max(most, l.Factor)
		}
	}
	return most
}

// nearest returns the station nearest to a place of the surface, and its distance,
// mm.
func nearest(f *evaluate.Findings, at r3.Vec) (string, float64) {
	name, best := "", math.Inf(1)
	for _, s := range f.Stations {
		if d := r3.Norm(r3.Sub(s.Station.At, at)); d < best {
			name, best = s.Station.Name, d
		}
	}
	return name, best
}
