package plane

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// depthToleranceMM is how precisely Depth is found.
const depthToleranceMM = 0.05

// Depth returns how far the box b reaches into p, millimetres: the largest
// distance from p's edge of a place inside both, 0 where they have none in common.
// Narrowed all round by that much p is clear of b. It may be too large by up to
// 0.05 mm, never too small.
//
// The signed distance from the edge changes by no more than the distance between
// two places, so that a part of the box whose middle is no deeper than the deepest
// place so far, less half its diagonal, needs no further look (branch and bound).
func (p Polygon) Depth(b r2.Box) float64 {
	deepest := 0.0
	for open := []r2.Box{b}; len(open) > 0; {
		part := open[len(open)-1]
		open = open[:len(open)-1]
		middle, size := r2.Scale(0.5, r2.Add(part.Min, part.Max)), r2.Sub(part.Max, part.Min)
		depth := p.Distance(middle)
		if !p.Contains(middle) {
			depth = -depth
		}
		deepest = max(deepest, depth)
		if !(depth+r2.Norm(size)/2 > deepest+depthToleranceMM) {
			continue
		}
		low, high := part, part
		if size.X > size.Y {
			low.Max.X, high.Min.X = middle.X, middle.X
		} else {
			low.Max.Y, high.Min.Y = middle.Y, middle.Y
		}
		open = append(open, low, high)
	}
	if deepest == 0 || math.IsInf(deepest, 1) {
		return 0
	}
	return deepest + depthToleranceMM
}
