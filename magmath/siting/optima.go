package siting

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
)

// Optima returns the indices of the allowed candidates of least cost, best first:
// the local optima of the grid (no allowed neighbour is better at any height),
// then, if they are fewer than fill, the best of the rest. None lies nearer to a
// better one than apartMM, whatever the heights; at most most are returned.
// Candidates of a cost that is not finite are left out; equal costs keep the
// order of allowed.
func Optima(g Grid, cs []Candidate, allowed []int, cost []float64, apartMM float64, fill, most int) []int {
	order := slices.DeleteFunc(slices.Clone(allowed), func(i int) bool {
		return math.IsNaN(cost[i]) || math.IsInf(cost[i], 0)
	})
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(cost[a], cost[b]) })
	lowest := map[int]float64{}
	for _, i := range order {
		if c, ok := lowest[cs[i].Node]; !ok || cost[i] < c {
			lowest[cs[i].Node] = cost[i]
		}
	}
	var picked []int
	take := func(want int, good func(int) bool) {
		for _, i := range order {
			if len(picked) >= want {
				return
			}
			if good(i) && apart(cs, picked, i, apartMM) {
				picked = append(picked, i)
			}
		}
	}
	take(most, func(i int) bool { return localLow(g, lowest, cs[i].Node, cost[i]) })
	take(min(fill, most), func(int) bool { return true })
	slices.SortStableFunc(picked, func(a, b int) int { return cmp.Compare(cost[a], cost[b]) })
	return picked
}

func apart(cs []Candidate, picked []int, i int, mm float64) bool {
	for _, j := range picked {
		if r2.Norm(r2.Sub(cs[i].At, cs[j].At)) < mm {
			return false
		}
	}
	return true
}

// localLow reports whether no neighbour of node, and no other height at it, has a
// lower cost.
func localLow(g Grid, lowest map[int]float64, node int, cost float64) bool {
	if cost > lowest[node] {
		return false
	}
	x, y := node%g.NX, node/g.NX
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			u, v := x+dx, y+dy
			if u < 0 || v < 0 || u >= g.NX || v >= g.NY {
				continue
			}
			if c, ok := lowest[v*g.NX+u]; ok && c < cost {
				return false
			}
		}
	}
	return true
}

// Tolerance returns the radius, up to mostMM, of the largest disc around at in
// which every place is good. It calls good with rings of sixteen to thirty-two
// points every stepMM until a ring is refused, and returns the radius of the ring
// before; 0 if at itself is refused.
func Tolerance(at r2.Vec, stepMM, mostMM float64, good func([]r2.Vec) bool) float64 {
	if !(stepMM > 0) || !good([]r2.Vec{at}) {
		return 0
	}
	last := 0.0
	for r := stepMM; r <= mostMM+1e-9; r += stepMM {
		n := min(32, max(16, int(2*math.Pi*r/stepMM)))
		ring := make([]r2.Vec, n)
		for k := range n {
			s, c := math.Sincos(2 * math.Pi * float64(k) / float64(n))
			ring[k] = r2.Vec{X: at.X + r*c, Y: at.Y + r*s}
		}
		if !good(ring) {
			return last
		}
		last = r
	}
	return last
}
