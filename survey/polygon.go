package survey

import (
	"fmt"
	"math"
	"math/big"

	"gonum.org/v1/gonum/spatial/r2"
)

// Polygon is a closed outline in the craft's x, y plane, millimetres, either
// way round. The last point is joined to the first and does not repeat it.
// Methods other than Check assume that Check found nothing; on fewer than
// three points they answer as for an empty area.
type Polygon []r2.Vec

// onEdgeMM is how far off an edge a point still counts as on it: less than
// anyone can mark, more than rounding in a file that was computed.
const onEdgeMM = 0.01

// PolygonError says why points make no outline. Point counts from 0.
type PolygonError struct {
	Point int
	Msg   string
}

// Error is the message.
func (e *PolygonError) Error() string { return e.Msg }

// Check is nil for a simple polygon: at least three finite points, no two
// alike, no edge that touches another but at their common end, an area. The
// error is a *PolygonError. The decision is exact for the given coordinates;
// the work grows with the square of the number of points.
func (p Polygon) Check() error {
	for i, v := range p {
		if math.IsNaN(v.X+v.Y) || math.IsInf(v.X, 0) || math.IsInf(v.Y, 0) {
			return &PolygonError{i, fmt.Sprintf("point %d is not finite", i+1)}
		}
	}
	if len(p) < 3 {
		return &PolygonError{0, fmt.Sprintf("an outline needs three points or more, not %d", len(p))}
	}
	if err := p.checkRepeats(); err != nil {
		return err
	}
	if p.flat() {
		return &PolygonError{0, "all points lie on one line: the outline has no area"}
	}
	return p.checkCrossings()
}

func (p Polygon) checkRepeats() error {
	first := make(map[r2.Vec]int, len(p))
	for i, v := range p {
		v = r2.Vec{X: v.X + 0, Y: v.Y + 0} // -0 and 0 are one place
		if j, seen := first[v]; seen {
			return &PolygonError{i, fmt.Sprintf("points %d and %d are the same: an outline closes by itself and does not touch itself", j+1, i+1)}
		}
		first[v] = i
	}
	return nil
}

func (p Polygon) flat() bool {
	for i := 2; i < len(p); i++ {
		if turn(p[0], p[1], p[i]) != 0 {
			return false
		}
	}
	return true
}

func (p Polygon) checkCrossings() error {
	n := len(p)
	for i := range n {
		a, b := p[i], p[(i+1)%n]
		c := p[(i+2)%n]
		if turn(a, b, c) == 0 && r2.Dot(r2.Sub(b, a), r2.Sub(c, b)) < 0 {
			return &PolygonError{(i + 1) % n, fmt.Sprintf("the outline doubles back at point %d", (i+1)%n+1)}
		}
		for j := i + 2; j < n; j++ {
			if i == 0 && j == n-1 {
				continue // neighbours across the seam
			}
			if segmentsMeet(a, b, p[j], p[(j+1)%n]) {
				return &PolygonError{j, fmt.Sprintf("the outline crosses itself: the edge from point %d to %d meets the edge from point %d to %d",
					i+1, (i+1)%n+1, j+1, (j+1)%n+1)}
			}
		}
	}
	return nil
}

// Bounds is the smallest box around p; an empty box at the origin for no
// points.
func (p Polygon) Bounds() r2.Box {
	if len(p) == 0 {
		return r2.Box{}
	}
	b := r2.Box{Min: p[0], Max: p[0]}
	for _, v := range p {
		b.Min = r2.Vec{X: min(b.Min.X, v.X), Y: min(b.Min.Y, v.Y)}
		b.Max = r2.Vec{X: max(b.Max.X, v.X), Y: max(b.Max.Y, v.Y)}
	}
	return b
}

// Contains reports whether q lies inside p or within a hundredth of a
// millimetre of its edge. It is false for a NaN.
func (p Polygon) Contains(q r2.Vec) bool {
	return p.inside(q) || p.Distance(q) <= onEdgeMM
}

// inside is the even-odd rule; points on the edge fall either way.
func (p Polygon) inside(q r2.Vec) bool {
	in := false
	for i := range p {
		a, b := p[i], p[(i+1)%len(p)]
		if (a.Y > q.Y) != (b.Y > q.Y) && q.X < a.X+(q.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// Distance is the distance from q to the nearest point of p's edge,
// millimetres, inside and outside alike; +Inf for no points.
func (p Polygon) Distance(q r2.Vec) float64 {
	best := math.Inf(1)
	for i := range p {
		near, _ := nearestOnSegment(p[i], p[(i+1)%len(p)], q)
		best = min(best, r2.Norm(r2.Sub(q, near)))
	}
	return best
}

// nearestOnSegment is the point of the segment a b nearest to q and where it
// lies between a (0) and b (1).
func nearestOnSegment(a, b, q r2.Vec) (r2.Vec, float64) {
	d := r2.Sub(b, a)
	if l := r2.Norm2(d); l > 0 {
		t := min(max(r2.Dot(r2.Sub(q, a), d)/l, 0), 1)
		return r2.Add(a, r2.Scale(t, d)), t
	}
	return a, 0
}

// turn is +1 if a, b, c turn the way from the x to the y axis, -1 the other
// way, 0 on one line. It is exact for finite coordinates: where rounding
// could decide, it computes in rational numbers.
// Source: J. R. Shewchuk, Adaptive precision floating-point arithmetic and
// fast robust geometric predicates, Discrete & Computational Geometry 18
// (1997) 305-363, the error bound of ORIENT2D.
func turn(a, b, c r2.Vec) int {
	left := (a.X - c.X) * (b.Y - c.Y)
	right := (a.Y - c.Y) * (b.X - c.X)
	det := left - right
	const bound = (3 + 16*0x1p-53) * 0x1p-53
	if size := bound * (math.Abs(left) + math.Abs(right)); det > size || -det > size {
		return sign(det)
	}
	return turnExactly(a, b, c)
}

func turnExactly(a, b, c r2.Vec) int {
	diff := func(u, v float64) *big.Rat {
		x := new(big.Rat)
		return x.Sub(new(big.Rat).SetFloat64(u), new(big.Rat).SetFloat64(v))
	}
	left := new(big.Rat).Mul(diff(a.X, c.X), diff(b.Y, c.Y))
	right := new(big.Rat).Mul(diff(a.Y, c.Y), diff(b.X, c.X))
	return left.Cmp(right)
}

func sign(v float64) int {
	switch {
	case v > 0:
		return 1
	case v < 0:
		return -1
	}
	return 0
}

// segmentsMeet reports whether the segments a b and c d have a point in
// common, ends included.
func segmentsMeet(a, b, c, d r2.Vec) bool {
	if max(a.X, b.X) < min(c.X, d.X) || max(c.X, d.X) < min(a.X, b.X) ||
		max(a.Y, b.Y) < min(c.Y, d.Y) || max(c.Y, d.Y) < min(a.Y, b.Y) {
		return false
	}
	return turn(a, b, c)*turn(a, b, d) <= 0 && turn(c, d, a)*turn(c, d, b) <= 0
}
