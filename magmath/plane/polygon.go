// Package plane is the geometry of outlines in a plane: polygons, boxes,
// segments and triangulations. What comes in are coordinates, gonum's r2.Vec
// (r3.Vec where a height is carried along), usually a craft's x, y in
// millimetres; what goes out are answers that rounding cannot turn round: the
// side of a line on which a point lies is decided exactly.
//
// Start reading at Polygon; Triangulate stands by itself.
package plane

import (
	"fmt"
	"math"
	"math/big"

	"gonum.org/v1/gonum/spatial/r2"
)

// Polygon is a closed outline, millimetres, its points in either order round.
// The last point is joined to the first and does not repeat it. Methods other
// than Check assume that Check returns nil; fewer than three points enclose
// nothing.
type Polygon []r2.Vec

// OnEdgeMM is the distance from an edge, millimetres, up to which a point
// counts as on it: less than anyone can mark, more than rounding in a file
// that was computed.
const OnEdgeMM = 0.01

// Error is a reason why points make no outline.
type Error struct {
	Point int // the point at fault, counted from 0
	Msg   string
}

// Error returns the message.
func (e *Error) Error() string { return e.Msg }

// Check returns nil for a simple polygon: at least three finite points, no two
// alike, no edge that touches another except at their common end, an area that
// is not zero. Any error is an *Error. The decision is exact for the given
// coordinates; the work grows with the square of the number of points.
func (p Polygon) Check() error {
	for i, v := range p {
		if math.IsNaN(v.X+v.Y) || math.IsInf(v.X, 0) || math.IsInf(v.Y, 0) {
			return &Error{i, fmt.Sprintf("point %d is not finite", i+1)}
		}
	}
	if len(p) < 3 {
		return &Error{0, fmt.Sprintf("an outline needs three points or more, not %d", len(p))}
	}
	if err := p.checkRepeats(); err != nil {
		return err
	}
	if p.flat() {
		return &Error{0, "all points lie on one line: the outline has no area"}
	}
	return p.checkCrossings()
}

func (p Polygon) checkRepeats() error {
	first := make(map[r2.Vec]int, len(p))
	for i, v := range p {
		v = r2.Vec{X: v.X + 0, Y: v.Y + 0} // -0 and 0 are one place
		if j, seen := first[v]; seen {
			return &Error{i, fmt.Sprintf("points %d and %d are the same: an outline closes by itself and does not touch itself", j+1, i+1)}
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
			return &Error{(i + 1) % n, fmt.Sprintf("the outline doubles back at point %d", (i+1)%n+1)}
		}
		for j := i + 2; j < n; j++ {
			if i == 0 && j == n-1 {
				continue // neighbours across the seam
			}
			if segmentsMeet(a, b, p[j], p[(j+1)%n]) {
				return &Error{j, fmt.Sprintf("the outline crosses itself: the edge from point %d to %d meets the edge from point %d to %d",
					i+1, (i+1)%n+1, j+1, (j+1)%n+1)}
			}
		}
	}
	return nil
}

// Bounds returns the smallest box around p, for no points an empty box at the
// origin.
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
// millimetre of its edge. It returns false for a NaN.
func (p Polygon) Contains(q r2.Vec) bool {
	return p.inside(q) || p.Distance(q) <= OnEdgeMM
}

// inside applies the even-odd rule; for a point on the edge either answer may
// come.
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

// Distance returns the distance from q to the nearest point of p's edge,
// millimetres, never negative; +Inf for no points.
func (p Polygon) Distance(q r2.Vec) float64 {
	best := math.Inf(1)
	for i := range p {
		near, _ := Nearest(p[i], p[(i+1)%len(p)], q)
		best = min(best, r2.Norm(r2.Sub(q, near)))
	}
	return best
}

// ContainsBox reports whether the box b (Min not above Max) lies inside p or
// on its edge.
func (p Polygon) ContainsBox(b r2.Box) bool {
	for _, corner := range b.Vertices() {
		if !p.Contains(corner) {
			return false
		}
	}
	return !p.cuts(b)
}

// OverlapsBox reports whether the box b and p have an area in common; for a box
// without an area, whether its middle lies inside p. Touching is not
// overlapping.
func (p Polygon) OverlapsBox(b r2.Box) bool {
	middle := r2.Scale(0.5, r2.Add(b.Min, b.Max))
	if p.inside(middle) && p.Distance(middle) > OnEdgeMM {
		return true
	}
	return p.cuts(b)
}

// cuts reports whether an edge of p passes through the inside of b, more than
// OnEdgeMM from its sides.
func (p Polygon) cuts(b r2.Box) bool {
	margin := r2.Vec{X: OnEdgeMM, Y: OnEdgeMM}
	b = r2.Box{Min: r2.Add(b.Min, margin), Max: r2.Sub(b.Max, margin)}
	if b.Min.X >= b.Max.X || b.Min.Y >= b.Max.Y {
		return false
	}
	for i := range p {
		if segmentCutsBox(p[i], p[(i+1)%len(p)], b) {
			return true
		}
	}
	return false
}

// Reach returns the distance from a place to the outermost edge of p in the
// direction of the unit vector toward; 0 where no edge lies in that direction.
func (p Polygon) Reach(from, toward r2.Vec) float64 {
	far := 0.0
	p.crossings(from, toward, func(along float64) { far = max(far, along) })
	return far
}

// EdgeToward returns the distance from a place to the first edge of p in the direction of
// the unit vector toward; +Inf where no edge lies in that direction.
func (p Polygon) EdgeToward(from, toward r2.Vec) float64 {
	near := math.Inf(1)
	p.crossings(from, toward, func(along float64) {
		if along >= 0 {
			near = min(near, along)
		}
	})
	return near
}

// crossings calls each with the distance from a place along the unit vector toward
// of every edge that their line crosses; negative where the edge lies behind. An
// edge along the line crosses nowhere: its neighbours do.
func (p Polygon) crossings(from, toward r2.Vec, each func(along float64)) {
	for i, a := range p {
		e := r2.Sub(p[(i+1)%len(p)], a)
		det := r2.Cross(toward, e)
		if det == 0 {
			continue
		}
		d := r2.Sub(a, from)
		along, on := r2.Cross(d, e)/det, r2.Cross(d, toward)/det
		if on >= 0 && on <= 1 && !math.IsNaN(along) {
			each(along)
		}
	}
}

// turn returns +1 if a, b, c turn from the x towards the y axis, -1 if they
// turn the other way, 0 if they lie on one line. It is exact for finite
// coordinates: where rounding could decide, it computes in rational numbers.
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
