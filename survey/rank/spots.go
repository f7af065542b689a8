package rank

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/heading"
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
	if len(allowed) > 0 {
		r.scoreFit(allowed)
	} else {
		// Nothing stays under the steady limit: show what comes closest.
		allowed, cost = r.free, make([]float64, len(r.cost))
		r.score(allowed, r.s.of)
		for i, s := range r.scores {
			cost[i] = s.SteadyUT.Upper95
		}
	}
	foot := r.f.Craft.Module.FootprintMM
	apart := max(foot.X, foot.Y, r.spacing)
	picked := siting.Optima(r.grid, r.cands, allowed, cost, apart, fillSpots, r.o.Most)
	same := r.notTold(picked)
	for rank, i := range picked {
		s := r.spot(i)
		s.Rank, s.NotToldFromBest = rank+1, same[rank]
		r.out.Spots = append(r.out.Spots, s)
		r.out.Qualified = r.out.Qualified || (s.WithinBudget && s.WithinSteady)
	}
	if !r.out.Qualified {
		r.out.Why = r.why(picked)
	}
	if r.o.Next > 0 {
		r.out.NextStations = r.next(picked)
	}
}

func (r *ranker) spot(i int) Spot {
	c := r.cands[i]
	s := r.s.full(c.Place)
	at := r.s.at(c.At)
	name, distance := nearest(r.f, at)
	g := r.centre(c.At)
	out := Spot{
		At: at, HeightMM: c.HeightMM, NearestStation: name,
		CableMM: r.cable(c.Place), CGXMM: g.X, CGYMM: g.Y,
		Interpolated: distance > r.spacing/2,
		WithinBudget: s.BudgetOK || !r.s.byShifting(),
	}
	r.s.fill(&out, s)
	out.ExtrapolationFactor = factorOf(r.f, out.WorstCombination)
	out.PlacementToleranceMM = siting.Tolerance(c.At, toleranceStepMM, toleranceMostMM, func(ps []r2.Vec) bool { return r.good(ps, c.HeightMM) })
	return out
}

// The placement tolerance has steps of two millimetres and ends at 60 mm: nobody
// misses a place by more.
const (
	toleranceStepMM = 2
	toleranceMostMM = 60
)

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

// notTold marks the spots whose probability of being better than the first is
// over 5 %, by draws from the joint posterior of the map at all of them.
func (r *ranker) notTold(picked []int) []bool {
	out := make([]bool, len(picked))
	if len(picked) < 2 {
		return out
	}
	places := make([]siting.Place, len(picked))
	for k, i := range picked {
		places[k] = r.cands[i].Place
	}
	points := r.s.sensors(places)
	rng := rand.New(rand.NewPCG(r.o.Seed, 0x5107))
	fields := r.s.loads
	if !r.s.byShifting() {
		fields = []evaluate.Field{r.f.Map.Steady}
	}
	draws := make([]*magmath.Normal, len(fields))
	for l, f := range fields {
		draws[l] = magmath.NewNormal(fieldmap.Joint(f, points))
	}
	better := make([]int, len(picked))
	values := make([]float64, len(picked))
	for range tellDraws {
		for _, d := range draws {
			d.Draw(rng)
		}
		for k := range values {
			values[k] = r.value(draws, k)
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

// value returns the error at spot k in the present draw, degrees, or the steady
// disturbance, microtesla.
func (r *ranker) value(draws []*magmath.Normal, k int) float64 {
	if !r.s.byShifting() {
		return r3.Norm(draws[0].At(k))
	}
	most := 0.0
	for _, combo := range r.s.worst.Combos {
		var d r3.Vec
		for _, l := range combo {
			d = r3.Add(d, draws[l].At(k))
		}
		deg, _ := heading.Worst(d, r.f.HUT, r.f.Craft.Limits.TiltDeg)
		most = max(most, deg)
	}
	return most
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
