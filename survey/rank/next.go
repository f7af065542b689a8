package rank

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/fieldmap"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
)

const (
	poolLimit      = 240  // candidates among which the next stations are chosen
	poolWeight     = 0.02 // least weight of such a candidate
	nextNoiseUT2   = 0.1  // variance of a new reading, a component
	nextApartShare = 0.5  // of the spacing, between new stations
)

// next returns the places where a measurement reduces the uncertainty of the
// ranking most.
func (r *ranker) next(picked []int) []NextStation {
	if len(picked) == 0 {
		return nil
	}
	pool, weight := r.pool(picked[0])
	places, at := make([]siting.Place, len(pool)), make([]r2.Vec, len(pool))
	for k, i := range pool {
		// A station is measured on the surface, whatever the mounting height.
		places[k], at[k] = siting.Place{At: r.cands[i].At}, r.cands[i].At
	}
	cov := r.rankedCovariance(places, r.scores[picked[0]].Combo)
	var out []NextStation
	for _, k := range siting.Next(at, cov, weight, nextNoiseUT2, nextApartShare*r.spacing, r.o.Next) {
		here := r.s.at(at[k])
		name, d := nearest(r.f, here)
		sd := math.Sqrt((cov.At(3*k, 3*k) + cov.At(3*k+1, 3*k+1) + cov.At(3*k+2, 3*k+2)) / 3)
		out = append(out, NextStation{At: here, Why: r.whyNext(d, name, sd)})
	}
	return out
}

// whyNext returns what a measurement gains, and whether that is little.
func (r *ranker) whyNext(mm float64, station string, sd float64) remark.Remark {
	at, values := remark.Place{Station: station}, remark.Values{"away_mm": mm, "uncertain_ut": sd}
	deg, _ := heading.Level(r3.Vec{X: 2 * sd}, r.f.HUT)
	if deg < littleShare*r.f.Craft.Limits.HeadingErrorDeg {
		return remark.New("rank.next_gains_little", values).At(at)
	}
	return remark.New("rank.next_may_be_best", values).At(at)
}

// littleShare is the share of the budget below which an uncertainty (two standard
// deviations) no longer matters.
const littleShare = 0.1

// pool returns candidates that may turn out to be the best, thinned so that they
// cover the surface, with their weights.
func (r *ranker) pool(best int) ([]int, []float64) {
	order := slices.Clone(r.free)
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(r.cost[a], r.cost[b]) })
	apart := r.spacing / 5
	var pool []int
	var weight []float64
	for _, i := range order {
		w := weightOf(r.scores[i], r.scores[best], r.s.byShifting())
		if len(pool) >= poolLimit || !(w > poolWeight) || !r.scores[i].SteadyOK || r.crowded(pool, i, apart) {
			continue
		}
		pool, weight = append(pool, i), append(weight, w)
	}
	return pool, weight
}

func (r *ranker) crowded(pool []int, i int, mm float64) bool {
	return slices.ContainsFunc(pool, func(j int) bool {
		return r2.Norm(r2.Sub(r.cands[i].At, r.cands[j].At)) < mm
	})
}

// rankedCovariance returns the joint covariance of the field that the ranking is
// based on: that of the worst combination, else the steady part.
func (r *ranker) rankedCovariance(places []siting.Place, combo []int) *mat.SymDense {
	points := r.s.sensors(places)
	if !r.s.byShifting() || len(combo) == 0 {
		if r.f.Map.Steady == nil {
			return nil
		}
		_, cov := fieldmap.Joint(r.f.Map.Steady, points)
		return cov
	}
	var sum *mat.SymDense
	for _, l := range combo {
		_, cov := fieldmap.Joint(r.s.loads[heading.Loaded(l)], points)
		if sum == nil {
			sum = cov
			continue
		}
		sum.AddSym(sum, cov)
	}
	return sum
}
