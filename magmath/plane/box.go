package plane

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Nearest returns the point of the segment a b nearest to q, and where it lies
// between a (0) and b (1). For a segment without length that is a and 0.
func Nearest(a, b, q r2.Vec) (at r2.Vec, share float64) {
	d := r2.Sub(b, a)
	if l := r2.Norm2(d); l > 0 {
		t := min(max(r2.Dot(r2.Sub(q, a), d)/l, 0), 1)
		return r2.Add(a, r2.Scale(t, d)), t
	}
	return a, 0
}

// segmentCutsBox reports whether the segment a c passes through the open box b.
// Source: Y.-D. Liang, B. A. Barsky, A new concept and method for line
// clipping, ACM Transactions on Graphics 3 (1984) 1-22.
func segmentCutsBox(a, c r2.Vec, b r2.Box) bool {
	from, to := 0.0, 1.0
	d := r2.Sub(c, a)
	clip := func(start, step, low, high float64) bool {
		if step == 0 {
			return start > low && start < high
		}
		t0, t1 := (low-start)/step, (high-start)/step
		from, to = max(from, min(t0, t1)), min(to, max(t0, t1))
		return from < to
	}
	return clip(a.X, d.X, b.Min.X, b.Max.X) && clip(a.Y, d.Y, b.Min.Y, b.Max.Y)
}

// BoxDistance returns the distance from q to the box b, 0 inside.
func BoxDistance(b r2.Box, q r2.Vec) float64 {
	dx := max(b.Min.X-q.X, 0, q.X-b.Max.X)
	dy := max(b.Min.Y-q.Y, 0, q.Y-b.Max.Y)
	return math.Hypot(dx, dy)
}

// BoxSegmentDistance returns the distance from the segment a c to the box b, 0
// where they meet.
func BoxSegmentDistance(b r2.Box, a, c r2.Vec) float64 {
	if segmentCutsBox(a, c, b) {
		return 0
	}
	best := min(BoxDistance(b, a), BoxDistance(b, c))
	for _, corner := range b.Vertices() {
		near, _ := Nearest(a, c, corner)
		best = min(best, r2.Norm(r2.Sub(corner, near)))
	}
	return best
}
