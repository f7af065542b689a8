package draw

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/plot/vg"
)

// Flat returns a place as seen from above.
func Flat(p r3.Vec) r2.Vec { return r2.Vec{X: p.X, Y: p.Y} }

// Flats returns places as seen from above.
func Flats(points []r3.Vec) []r2.Vec {
	out := make([]r2.Vec, len(points))
	for i, p := range points {
		out[i] = Flat(p)
	}
	return out
}

// closed returns a polygon with its first point repeated at the end.
func closed(p []vg.Point) []vg.Point {
	if len(p) == 0 {
		return nil
	}
	return append(slices.Clone(p), p[0])
}

// Level returns a horizontal line that reaches half to either side of a point.
func Level(at vg.Point, half vg.Length) []vg.Point {
	return []vg.Point{at.Add(vg.Point{X: -half}), at.Add(vg.Point{X: half})}
}

// BoxAround returns the corners of a box that reaches x and y to either side of a
// point, counterclockwise.
func BoxAround(at vg.Point, x, y vg.Length) []vg.Point {
	half := vg.Point{X: x, Y: y}
	return Corners(vg.Rectangle{Min: at.Sub(half), Max: at.Add(half)})
}

// Corners returns the corners of a box, counterclockwise.
func Corners(b vg.Rectangle) []vg.Point {
	return []vg.Point{b.Min, {X: b.Max.X, Y: b.Min.Y}, b.Max, {X: b.Min.X, Y: b.Max.Y}}
}

// Area returns the signed area of a polygon, positive counterclockwise.
func Area(p []vg.Point) float64 {
	sum := 0.0
	for i, a := range p {
		b := p[(i+1)%len(p)]
		sum += float64(a.X*b.Y - b.X*a.Y)
	}
	return sum / 2
}

// Distance returns the distance of two points on paper, points.
func Distance(a, b vg.Point) float64 { return math.Hypot(float64(a.X-b.X), float64(a.Y-b.Y)) }

// QuarterTurn is a counterclockwise right angle, radians.
const QuarterTurn = math.Pi / 2
