package rank

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/siting"
	"quietmount/survey/evaluate"
)

// choose picks the spots, describes them, and finds why none qualifies.
func (r *ranker) choose() {
	var allowed []int
	for _, i := range r.free {
		if r.verdicts[i].steadyOK {
			allowed = append(allowed, i)
		}
	}
	cost := r.cost
	foot := r.f.Craft.Module.FootprintMM
	apart := max(foot.X, foot.Y, r.spacing)
	if len(allowed) > 0 {
		r.scoreFit(r.promising(allowed, apart))
	} else {
		// Nothing stays under the steady limit: show what comes closest.
		allowed, cost = r.free, make([]float64, len(r.cost))
		r.score(allowed, r.s.of)
		for i, s := range r.scores {
			cost[i] = s.SteadyUT.Upper95
		}
	}
	picked := siting.Optima(r.grid, r.cands, allowed, cost, apart, fillSpots, r.o.Most)
	r.refine(picked)
	same := r.notTold(picked)
	for rank, i := range picked {
		s := r.spot(i)
		s.Rank, s.NotToldFromBest = rank+1, same[rank]
		r.out.Spots = append(r.out.Spots, s)
		r.out.Qualified = r.out.Qualified || (s.WithinBudget && s.WithinSteady)
	}
	r.out.Relaxations = r.relaxations()
	if !r.out.Qualified {
		r.out.Why = r.why(picked)
	}
	if r.o.Next > 0 {
		r.out.NextStations = r.next(picked)
	}
}

// promisingMost is the number of candidates, in the order of what the means of the
// map alone say, that are scored in full.
const promisingMost = 250

// promising returns the allowed candidates worth a full score: those with the least
// errors by the means alone, and those around the optima of these errors. All
// where there is no shifting part to rank by.
func (r *ranker) promising(allowed []int, apart float64) []int {
	if !r.s.byShifting() || len(allowed) <= promisingMost {
		return allowed
	}
	rough := make([]float64, len(r.cands))
	for k, v := range r.rough(r.placesOf(allowed), math.Inf(1)) {
		rough[allowed[k]] = v
	}
	order := slices.Clone(allowed)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(rough[a], rough[b]) })
	wanted := map[int]bool{}
	for _, i := range order[:promisingMost] {
		wanted[i] = true
	}
	for _, i := range siting.Optima(r.grid, r.cands, allowed, rough, apart, fillSpots, 2*r.o.Most) {
		for _, k := range allowed {
			if r2.Norm(r2.Sub(r.cands[k].At, r.cands[i].At)) <= 1.5*r.grid.StepMM && r.cands[k].HeightMM == r.cands[i].HeightMM {
				wanted[k] = true
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(allowed), func(i int) bool { return !wanted[i] })
}

// rough returns the errors that the means of the map alone give at places, degrees,
// as mounted. Where all count alike the field decides. Where the error exactly at a
// place, which a slip makes larger but for a little beside a source, is over most it is
// infinite.
func (r *ranker) rough(places []siting.Place, most float64) []float64 {
	out := make([]float64, len(places))
	points := r.s.sensors(places)
	for from := 0; from < len(points) && r.s.ctx.Err() == nil; from += scoredAtOnce {
		to := min(from+scoredAtOnce, len(points))
		some := r.s.m.ExactMeans(points[from:to])
		var within []int
		for k, on := range some {
			if out[from+k] = math.Inf(1); !(r.s.m.OfMean(on) > most) {
				within = append(within, k)
			}
		}
		sliding := evaluate.Pick(some, within)
		r.s.m.Slide(sliding, evaluate.Pick(points[from:to], within))
		for i, on := range sliding {
			out[from+within[i]] = r.s.m.OfMean(on) + 1e-6*r3.Norm(on[0].Mean)
		}
	}
	return out
}

func (r *ranker) placesOf(some []int) []siting.Place {
	out := make([]siting.Place, len(some))
	for k, i := range some {
		out[k] = r.cands[i].Place
	}
	return out
}

// refineStepMM is the step at which a spot's place is sought between the candidates.
const refineStepMM = 2

// refine moves the picked candidates to the best allowed place within half a step of
// the grid, in place, and puts them in order again.
func (r *ranker) refine(picked []int) {
	if !r.s.byShifting() {
		return
	}
	for _, i := range picked {
		if !r.verdicts[i].steadyOK || r.s.ctx.Err() != nil {
			continue
		}
		var near []siting.Place
		for x := -r.grid.StepMM / 2; x <= r.grid.StepMM/2; x += refineStepMM {
			for y := -r.grid.StepMM / 2; y <= r.grid.StepMM/2; y += refineStepMM {
				p := siting.Place{At: r2.Add(r.cands[i].At, r2.Vec{X: x, Y: y}), HeightMM: r.cands[i].HeightMM}
				if r.allows(p) {
					near = append(near, p)
				}
			}
		}
		for k, s := range r.s.of(near) {
			if s.SteadyOK && s.cost < r.cost[i] {
				r.cands[i].Place, r.scores[i], r.cost[i] = near[k], s, s.cost
			}
		}
	}
	slices.SortStableFunc(picked, func(a, b int) int { return cmp.Compare(r.cost[a], r.cost[b]) })
}

func (r *ranker) spot(i int) Spot {
	c := r.cands[i]
	s := r.s.full(c.Place)
	at := r.s.at(c.At)
	name, distance := nearest(r.f, at)
	g := r.centre(c.At)
	out := Spot{
		At: at, HeightMM: c.HeightMM, NearestStation: name, FromMarks: r.f.Craft.FromMarks(c.At),
		CableMM: r.cable(c.Place), CGXMM: g.X, CGYMM: g.Y,
		Interpolated: distance > r.spacing/2,
	}
	r.s.fill(&out, s)
	out.ExtrapolationFactor = factorOf(r.f, out.WorstCombination)
	r.bound(&out, s, c.Place)
	return out
}

// bound sets whether a spot keeps the budget, and its tolerance.
func (r *ranker) bound(out *Spot, s score, at siting.Place) {
	out.BoundWithin = s.BudgetOK || !r.s.byShifting()
	out.PlacementToleranceMM = r.tolerance(at, toleranceMostMM)
	out.WithinBudget = out.BoundWithin && (!r.s.byShifting() || r.holds(out.PlacementToleranceMM))
}

// holds reports whether a placement tolerance is no smaller than the slip of the hand.
func (r *ranker) holds(toleranceMM float64) bool { return toleranceMM >= r.s.m.SlipMM-1e-9 }

// tolerance returns the placement tolerance of a place, up to mostMM.
func (r *ranker) tolerance(p siting.Place, mostMM float64) float64 {
	return siting.Tolerance(p.At, toleranceStep(r.s.m.SlipMM), mostMM, func(ps []r2.Vec) bool { return r.good(ps, p.HeightMM) })
}

// toleranceMostMM ends the search for the placement tolerance: nobody misses a place
// by more.
const toleranceMostMM = 60

// toleranceStep returns the step, mm, of the placement tolerance: about two, and such
// that the slip of the hand is a whole number of steps.
func toleranceStep(slipMM float64) float64 {
	if !(slipMM > 0) {
		return 2
	}
	return slipMM / math.Ceil(slipMM/2)
}

// good reports whether every place is on the surveyed surface, within the budget
// and under the steady limit.
func (r *ranker) good(ps []r2.Vec, height float64) bool {
	places := make([]siting.Place, len(ps))
	for i, p := range ps {
		if !r.f.Craft.Body.OutlineMM.Contains(p) {
			return false
		}
		if _, d := nearest(r.f, r.s.at(p)); d > r.spacing {
			return false
		}
		places[i] = siting.Place{At: p, HeightMM: height}
	}
	return r.s.allFit(places)
}

// tellDraws is the number of joint draws that compare the spots: a probability of
// 5 % is then known to half a per cent.
const tellDraws = 2000

// notTold marks the spots whose probability of being better than the first, as
// mounted, is over 5 %, by draws from the joint posterior of the map at all of
// them.
func (r *ranker) notTold(picked []int) []bool {
	out := make([]bool, len(picked))
	if len(picked) < 2 {
		return out
	}
	points := r.s.sensors(r.placesOf(picked))
	rng := rand.New(rand.NewPCG(r.o.Seed, 0x5107))
	var draws []*magmath.Normal
	var errorAt []func([]r3.Vec) float64
	if !r.s.byShifting() {
		draws = append(draws, magmath.NewNormal(fieldmap.Joint(r.f.Map.Steady, points)))
	} else {
		for l := range r.s.loads {
			draws = append(draws, magmath.NewNormal(r.s.m.Joint(l, points)))
		}
		for _, on := range r.s.m.Means(points) {
			errorAt = append(errorAt, r.s.m.OfFields(on))
		}
	}
	drawn := make([]r3.Vec, len(draws))
	better := make([]int, len(picked))
	values := make([]float64, len(picked))
	for range tellDraws {
		for _, d := range draws {
			d.Draw(rng)
		}
		for k := range values {
			if !r.s.byShifting() {
				values[k] = r3.Norm(draws[0].At(k))
			} else {
				for l, d := range draws {
					drawn[l] = d.At(k)
				}
				values[k] = errorAt[k](drawn)
			}
			if values[k] < values[0] {
				better[k]++
			}
		}
	}
	for k := range out {
		out[k] = k > 0 && better[k]*20 > tellDraws
	}
	return out
}

// weightOf returns how much a candidate matters for the choice: near one if it may
// be the best, near zero if it is surely worse.
func weightOf(s, best score, byShifting bool) float64 {
	a, b := s.Shifting.Quantiles, best.Shifting.Quantiles
	if !byShifting {
		a, b = s.SteadyUT, best.SteadyUT
	}
	spread := math.Hypot(max(0.05, a.Upper95-a.Estimate), max(0.05, b.Upper95-b.Estimate))
	z := max(0, a.Estimate-b.Estimate) / spread
	return math.Exp(-z * z / 2)
}
