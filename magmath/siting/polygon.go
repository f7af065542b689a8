package siting

import "gonum.org/v1/gonum/spatial/r2"

// Inside reports whether p lies in the polygon, by counting crossings of a
// ray; on the edge it may be either. A polygon of fewer than three corners
// holds nothing.
func Inside(polygon []r2.Vec, p r2.Vec) bool {
	in := false
	for i, b := range polygon {
		a := polygon[(i+len(polygon)-1)%len(polygon)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in && len(polygon) > 2
}

// snug is how much a footprint is drawn in before it is tested, so that one
// flush with an edge does not touch it, mm.
const snug = 1e-6

// FootprintInside reports whether the whole footprint lies in the polygon;
// flush with the edge counts.
func FootprintInside(polygon []r2.Vec, at, size r2.Vec) bool {
	return Inside(polygon, at) && !edgeMeets(polygon, at, size)
}

// FootprintMeets reports whether the footprint overlaps the polygon; flush
// with the edge does not.
func FootprintMeets(polygon []r2.Vec, at, size r2.Vec) bool {
	return Inside(polygon, at) || edgeMeets(polygon, at, size)
}

func edgeMeets(polygon []r2.Vec, at, size r2.Vec) bool {
	small := r2.Vec{X: max(0, size.X-2*snug), Y: max(0, size.Y-2*snug)}
	for i, b := range polygon {
		if crosses(polygon[(i+len(polygon)-1)%len(polygon)], b, at, small) {
			return true
		}
	}
	return false
}

// ToEdge is the distance from p to the nearest edge of the polygon.
func ToEdge(polygon []r2.Vec, p r2.Vec) float64 {
	var least float64
	for i, b := range polygon {
		d := toSegment(p, polygon[(i+len(polygon)-1)%len(polygon)], b)
		if i == 0 || d < least {
			least = d
		}
	}
	return least
}

// Bounds are the least and greatest coordinates; zero for no corners.
func Bounds(polygon []r2.Vec) (low, high r2.Vec) {
	for i, p := range polygon {
		if i == 0 {
			low, high = p, p
		}
		low = r2.Vec{X: min(low.X, p.X), Y: min(low.Y, p.Y)}
		high = r2.Vec{X: max(high.X, p.X), Y: max(high.Y, p.Y)}
	}
	return low, high
}
