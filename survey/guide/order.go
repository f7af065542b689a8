package guide

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// sparing orders the stations so that the moves are short and the order runs
// neither along the craft nor across it. It visits rows across the craft in
// alternating directions, the odd rows on the way aft and the even ones on the
// way back, and then reverses stretches wherever that shortens the walk without
// correlating time and place. The result is the same for the same stations.
func sparing(stations []survey.Station, spacingMM float64) []survey.Station {
	order := interleaved(stations, spacingMM)
	if len(order) < 4 {
		return order
	}
	shorten(order)
	return order
}

// interleaved walks the rows 1, 3, 5, ... 6, 4, 2, each across the craft, in
// alternating directions. Stations in a single row are interleaved along it.
func interleaved(stations []survey.Station, spacingMM float64) []survey.Station {
	across := rows(stations, spacingMM, func(s survey.Station) float64 { return -s.At.X })
	if len(across) == 1 {
		across = rows(stations, spacingMM, func(s survey.Station) float64 { return s.At.Y })
	}
	var order []survey.Station
	for turn, i := range outAndBack(len(across)) {
		row := slices.Clone(across[i])
		if turn%2 == 1 {
			slices.Reverse(row)
		}
		order = append(order, row...)
	}
	return order
}

// outAndBack returns 0, 2, 4, ... 5, 3, 1 for n.
func outAndBack(n int) []int {
	var order []int
	for i := 0; i < n; i += 2 {
		order = append(order, i)
	}
	last := n - 1
	if last%2 == 0 {
		last--
	}
	for i := last; i > 0; i -= 2 {
		order = append(order, i)
	}
	return order
}

// rows groups stations whose keys agree within half the spacing, in ascending
// order of the key; within a row they are ordered from left to right.
func rows(stations []survey.Station, spacingMM float64, key func(survey.Station) float64) [][]survey.Station {
	sorted := slices.Clone(stations)
	slices.SortStableFunc(sorted, func(a, b survey.Station) int {
		return cmp.Or(cmp.Compare(key(a), key(b)), cmp.Compare(a.At.Y, b.At.Y), cmp.Compare(a.Name, b.Name))
	})
	width := spacingMM
	if width <= 0 {
		width = (key(sorted[len(sorted)-1]) - key(sorted[0])) / math.Sqrt(float64(len(sorted)))
	}
	var out [][]survey.Station
	start := 0.0
	for _, s := range sorted {
		if len(out) == 0 || key(s)-start > width/2 {
			out, start = append(out, nil), key(s)
		}
		out[len(out)-1] = append(out[len(out)-1], s)
	}
	for _, row := range out {
		slices.SortStableFunc(row, func(a, b survey.Station) int {
			return cmp.Or(cmp.Compare(a.At.Y, b.At.Y), cmp.Compare(b.At.X, a.At.X), cmp.Compare(a.Name, b.Name))
		})
	}
	return out
}

// Largest correlation of time and place in a planned walk.
const freeCorrelation = 0.08

// tour holds an order of places and their cumulative sums, from which the cost of
// reversing a stretch follows.
type tour struct {
	at         []r3.Vec
	sx, sy     []float64 // sums of x and of y before i, about their means
	ix, iy     []float64 // the same times the position in the walk
	normX      float64   // so that (sum of i x) times normX is the correlation
	normY      float64
	lengthUnit float64
}

// shorten reverses stretches of the order while that lowers the length plus a
// penalty on the correlation between time and place (2-opt).
func shorten(order []survey.Station) {
	for range 12 {
		t := newTour(order)
		if !t.pass(order) {
			return
		}
	}
}

// newTour prepares the sums for an order.
func newTour(order []survey.Station) *tour {
	n := len(order)
	t := &tour{at: make([]r3.Vec, n)}
	var mean r3.Vec
	for i, s := range order {
		t.at[i] = s.At
		mean = r3.Add(mean, r3.Scale(1/float64(n), s.At))
	}
	varX, varY := 0.0, 0.0
	for i := range t.at {
		t.at[i] = r3.Sub(t.at[i], mean)
		varX += t.at[i].X * t.at[i].X
		varY += t.at[i].Y * t.at[i].Y
		if i > 0 {
			t.lengthUnit += t.step(i-1, i)
		}
	}
	varI := float64(n) * (float64(n)*float64(n) - 1) / 12
	if varX > 1 {
		t.normX = 1 / math.Sqrt(varX*varI)
	}
	if varY > 1 {
		t.normY = 1 / math.Sqrt(varY*varI)
	}
	t.lengthUnit = max(t.lengthUnit, 1)
	t.resum()
	return t
}

// resum updates the sums after a reversal.
func (t *tour) resum() {
	n := len(t.at)
	t.sx, t.sy = make([]float64, n+1), make([]float64, n+1)
	t.ix, t.iy = make([]float64, n+1), make([]float64, n+1)
	for i, p := range t.at {
		t.sx[i+1], t.sy[i+1] = t.sx[i]+p.X, t.sy[i]+p.Y
		t.ix[i+1], t.iy[i+1] = t.ix[i]+float64(i)*p.X, t.iy[i]+float64(i)*p.Y
	}
}

// step returns the distance between the places i and j.
func (t *tour) step(i, j int) float64 { return r3.Norm(r3.Sub(t.at[i], t.at[j])) }

// penalty returns the price of the correlations cx and cy, in lengths of the walk.
func penalty(cx, cy float64) float64 {
	over := func(c float64) float64 { return max(0, math.Abs(c)-freeCorrelation) }
	return 8 * (over(cx) + over(cy))
}

// gain returns by how much reversing the stretch from i to j lowers the cost.
func (t *tour) gain(i, j int) float64 {
	n := len(t.at)
	saved := 0.0
	if i > 0 {
		saved += t.step(i-1, i) - t.step(i-1, j)
	}
	if j < n-1 {
		saved += t.step(j, j+1) - t.step(i, j+1)
	}
	turn := func(sum, isum []float64) float64 {
		return float64(i+j)*(sum[j+1]-sum[i]) - 2*(isum[j+1]-isum[i])
	}
	cx, cy := t.ix[n]*t.normX, t.iy[n]*t.normY
	dx, dy := turn(t.sx, t.ix)*t.normX, turn(t.sy, t.iy)*t.normY
	return saved/t.lengthUnit + penalty(cx, cy) - penalty(cx+dx, cy+dy)
}

// pass reverses each stretch once if that lowers the cost, and reports whether
// any was reversed.
func (t *tour) pass(order []survey.Station) bool {
	turned := false
	for i := range t.at {
		for j := i + 1; j < len(t.at); j++ {
			if t.gain(i, j) > 1e-9 {
				slices.Reverse(t.at[i : j+1])
				slices.Reverse(order[i : j+1])
				t.resum()
				turned = true
			}
		}
	}
	return turned
}
