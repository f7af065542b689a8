package picture

import (
	"math"

	"gonum.org/v1/plot/vg"
)

// unseen is an invisible error of a line, points: a seventieth of a millimetre.
const unseen = 0.04

// thinned returns a line without the points within unseen of the rest of it; its
// ends stay.
// Source: Douglas and Peucker (1973), Algorithms for the reduction of the
// number of points required to represent a digitized line or its caricature.
func thinned(line []vg.Point) []vg.Point {
	if len(line) < 3 {
		return line
	}
	keep := make([]bool, len(line))
	keep[0], keep[len(line)-1] = true, true
	for spans := [][2]int{{0, len(line) - 1}}; len(spans) > 0; {
		last := spans[len(spans)-1]
		spans = spans[:len(spans)-1]
		far, at := unseen, -1
		for i := last[0] + 1; i < last[1]; i++ {
			if d := besides(line[i], line[last[0]], line[last[1]]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			spans = append(spans, [2]int{last[0], at}, [2]int{at, last[1]})
		}
	}
	var out []vg.Point
	for i, p := range line {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}

// besides returns the distance of p from the stretch from a to b, points.
func besides(p, a, b vg.Point) float64 {
	way, from := b.Sub(a), p.Sub(a)
	long := float64(way.Dot(way))
	if long == 0 {
		return math.Hypot(from.X.Points(), from.Y.Points())
	}
	t := vg.Length(max(0, min(1, float64(from.Dot(way))/long)))
	off := from.Sub(way.Scale(t))
	return math.Hypot(off.X.Points(), off.Y.Points())
}
