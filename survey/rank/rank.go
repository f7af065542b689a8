// Package rank chooses among the places where the module could be mounted.
//
// Rank turns findings into a Ranking: spots ordered by the upper 95 % bound of
// the heading error there, the area that each constraint excludes and what it
// costs, the reasons if nothing qualifies, and where to measure next. SpotAt judges a place given
// by hand, PredictAt and Rejudge predict from the map at a place, ChoiceOf
// returns a spot in its stored form.
//
// Start reading at Rank in this file; scorer.go turns places into errors, spots.go
// picks the spots, relaxations.go says what constraints cost, why.go and next.go have
// the remarks and the next stations.
package rank

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/balance"
	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
	"quietmount/survey"
	balancing "quietmount/survey/balance"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
)

// ErrNoMap reports findings with neither a load nor a disturbance to rank by.
var ErrNoMap = errors.New("nothing to rank by: neither a load nor a disturbance against a background was measured")

// Options are those of Rank; the zero value is sensible.
type Options struct {
	StepMM float64 // step of the grid of candidates; 0: 8 mm, coarser on a large craft
	Most   int     // spots at most; 0: 10
	Next   int     // places to measure next; 0: 5, negative: none
	Seed   uint64  // of the draws that compare the spots
}

func (o Options) withDefaults() Options {
	if !(o.StepMM > 0) {
		o.StepMM = 8
	}
	if o.Most <= 0 {
		o.Most = 10
	}
	if o.Next == 0 {
		o.Next = 5
	}
	return o
}

// candidateLimit bounds the places that are judged, at all heights together.
const (
	candidateLimit = 6000
	manyStations   = 200
)

// fillSpots is the least number of spots, even if there are fewer local optima.
const fillSpots = 5

// Rank orders the places where the module could be mounted by the shifting error to
// be expected of them (Spot.Expected) or, if no load was measured, by the upper 95 %
// bound of the steady disturbance (Ranking.ByShifting). Places over the steady limit
// are left out unless there are no others; places over the heading budget are listed
// with WithinBudget unset, also ahead of places within it: see Ranking.Foremost. The error is ErrNoMap, or that of the context.
func Rank(ctx context.Context, f *evaluate.Findings, o Options) (*Ranking, error) {
	if f.Map == nil || (f.Map.Steady == nil && len(f.Map.Loads) == 0) {
		return nil, ErrNoMap
	}
	r := newRanker(ctx, f, o.withDefaults())
	r.screen()
	if ctx.Err() == nil {
		r.choose()
	}
	r.check(ctx)
	r.notes()
	if err := ctx.Err(); err != nil {
		return nil, fmt.Errorf("rank spots: %w", err)
	}
	return r.out, nil
}

// check asks the survey before anything is promised: what fails takes every spot's
// qualification and stands first among the reasons.
func (r *ranker) check(ctx context.Context) {
	r.out.Checks = gate.Checks(ctx, r.f)
	var why []remark.Remark
	failed := gate.Open(r.out.Checks)
	r.out.Qualified = r.out.Qualified && len(failed) == 0
	for _, c := range gate.Causes(failed) {
		why = append(why, c.Why)
	}
	r.out.Why = append(why, r.out.Why...)
}

// ranker is the state of Rank.
type ranker struct {
	f       *evaluate.Findings
	o       Options
	s       *scorer
	grid    siting.Grid
	limits  []siting.Constraint
	cands   []siting.Candidate
	free    []int // candidates that nothing forbids
	spacing float64
	out     *Ranking

	verdicts []verdict // of the candidates
	scores   []score   // of those that were scored
	cost     []float64 // of the same; NaN of the others
}

func newRanker(ctx context.Context, f *evaluate.Findings, o Options) *ranker {
	return &ranker{f: f, o: o, s: newScorer(ctx, f), spacing: f.SpacingMM(), out: &Ranking{Excluded: map[siting.ConstraintName]float64{}}}
}

// screen lays the grid, applies the constraints and judges every node within the
// outline, also forbidden ones, so that the cost of a constraint is known.
func (r *ranker) screen() {
	c := r.f.Craft
	heights := c.Heights
	if len(heights) == 0 {
		heights = []float64{0}
	}
	box := c.Body.OutlineMM.Bounds()
	r.grid = siting.Lay(box.Min, box.Max, r.o.StepMM, max(1, r.candidateLimit()/len(heights)))
	r.limits = r.constraints()
	r.cands, r.out.Excluded = siting.Screen(r.grid, heights, c.Body.OutlineMM.Contains, r.limits)
	places := make([]siting.Place, len(r.cands))
	for i, k := range r.cands {
		places[i] = k.Place
	}
	r.verdicts = r.s.judge(places)
	r.scores, r.cost = make([]score, len(r.cands)), make([]float64, len(r.cands))
	over := map[string]float64{}
	for i, v := range r.verdicts {
		r.cost[i] = math.NaN()
		if len(r.cands[i].Broken) == 0 {
			r.free = append(r.free, i)
		}
		if !v.steadyOK {
			over[KindSteady]++
		}
		if r.s.byShifting() && !v.budgetOK {
			over[KindHeadingError]++
		}
	}
	for _, k := range []string{KindSteady, KindHeadingError} {
		if len(r.cands) > 0 {
			r.out.Excluded[siting.ConstraintName{Kind: k}] = over[k] / float64(len(r.cands))
		}
	}
	r.out.Candidates = len(r.cands)
	r.out.ByShifting = r.s.byShifting()
}

// score computes the scores and costs of some candidates, given by index.
func (r *ranker) score(some []int, scores func([]siting.Place) []score) {
	places := make([]siting.Place, len(some))
	for k, i := range some {
		places[k] = r.cands[i].Place
	}
	for k, s := range scores(places) {
		r.scores[some[k]], r.cost[some[k]] = s, s.cost
	}
}

// scoreFit is score for candidates judged to keep the limits of the steady part.
func (r *ranker) scoreFit(some []int) {
	if r.s.byShifting() {
		r.score(some, r.s.shiftingOf)
		return
	}
	r.score(some, r.s.of)
}

// candidateLimit returns fewer candidates if there are many stations, each of which
// takes time at every place.
func (r *ranker) candidateLimit() int {
	return candidateLimit * manyStations / max(manyStations, len(r.f.Stations))
}

// The kinds of constraint, besides those of [survey.ObstacleKind].
const (
	KindSteady       = "steady"        // the steady part is over its limit
	KindHeadingError = "heading_error" // the shifting part is over the budget
	KindCable        = "cable"         // out of its reach
	KindBalance      = "balance"       // the centre of gravity would be out of its range
	KindLead         = "lead"          // the sensor would be too near to one
	KindSaturated    = "saturated"     // too near to a station where the probe was at full scale
)

// constraints returns what may forbid a place, each with its name in
// Ranking.Excluded.
func (r *ranker) constraints() []siting.Constraint {
	c := r.f.Craft
	seen := map[r2.Vec]map[siting.ConstraintName]bool{}
	obstacles := func(at r2.Vec) map[siting.ConstraintName]bool {
		if m, ok := seen[at]; ok {
			return m
		}
		m := map[siting.ConstraintName]bool{}
		for _, o := range c.Obstacles(at) {
			m[siting.ConstraintName{Kind: string(o.Kind), Name: o.Name}] = true
		}
		seen[at] = m
		return m
	}
	out := []siting.Constraint{}
	add := func(kind survey.ObstacleKind, name string) {
		key := siting.ConstraintName{Kind: string(kind), Name: name}
		out = append(out, siting.Constraint{Name: key, Allows: func(p siting.Place) bool { return !obstacles(p.At)[key] }})
	}
	add(survey.ObstacleOutline, "")
	for _, k := range c.Keepouts {
		add(survey.ObstacleKeepout, k.Name)
	}
	for _, p := range c.Parts {
		if p.ClearanceMM > 0 {
			add(survey.ObstacleClearance, p.Name)
		}
	}
	if c.Cable != nil && c.Module.CableMM > 0 {
		out = append(out, siting.Constraint{Name: siting.ConstraintName{Kind: KindCable}, Allows: func(p siting.Place) bool { return r.shortBy(p) <= 0 }})
	}
	if c.Balance != nil && len(balancing.Masses(r.f.Craft)) > 0 {
		out = append(out, siting.Constraint{Name: siting.ConstraintName{Kind: KindBalance}, Allows: func(p siting.Place) bool { return r.balanced(p.At) }})
	}
	return append(append(out, r.nearLeads()...), r.saturated()...)
}

// saturated keeps spots away from stations where the probe reached its full scale:
// nothing is known there except that the field is strong.
func (r *ranker) saturated() []siting.Constraint {
	var bad []r2.Vec
	for _, s := range r.f.Stations {
		if s.Saturated {
			bad = append(bad, r2.Vec{X: s.Station.At.X, Y: s.Station.At.Y})
		}
	}
	if len(bad) == 0 {
		return nil
	}
	return []siting.Constraint{{Name: siting.ConstraintName{Kind: KindSaturated}, Allows: func(p siting.Place) bool {
		for _, b := range bad {
			if r2.Norm(r2.Sub(b, p.At)) < r.spacing/2 {
				return false
			}
		}
		return true
	}}}
}

// cable returns the length of lead to a place, mm; NaN if no cable is described.
func (r *ranker) cable(p siting.Place) float64 {
	if r.f.Craft.Cable == nil {
		return math.NaN()
	}
	return siting.CableLength(r.f.Craft.Cable.FromMM, r.f.Craft.Cable.ViaMM, p)
}

// shortBy returns by how much the module's lead is too short, mm, slack included.
func (r *ranker) shortBy(p siting.Place) float64 {
	return r.cable(p) - (r.f.Craft.Module.CableMM - r.f.Craft.Cable.SlackMM)
}

// centre returns the finished craft's centre of gravity with the module at p; NaN
// if no masses are described.
func (r *ranker) centre(p r2.Vec) r2.Vec {
	bare, err := balance.Of(balancing.Masses(r.f.Craft)...)
	if err != nil {
		return r2.Vec{X: math.NaN(), Y: math.NaN()}
	}
	g := bare.With(balance.Mass{G: r.f.Craft.Module.MassG, AtMM: r3.Vec{X: p.X, Y: p.Y}}).AtMM
	return r2.Vec{X: g.X, Y: g.Y}
}

func (r *ranker) balanced(p r2.Vec) bool {
	g, b := r.centre(p), r.f.Craft.Balance
	return g.X >= b.CGXMM[0] && g.X <= b.CGXMM[1] && g.Y >= b.CGYMM[0] && g.Y <= b.CGYMM[1]
}
