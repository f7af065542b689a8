package picture

import (
	"image/color"
	"math"

	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
)

// span is a range of numbers with its ticks.
type span struct {
	low, high float64
	ticks     []float64
}

// spanOf returns a span over low to high with about four to ten round ticks, its
// ends moved outwards to ticks. It widens a range without width and takes 0 to 1
// for an invalid one.
func spanOf(low, high float64) span {
	if !(low <= high) || math.IsInf(low, 0) || math.IsInf(high, 0) {
		low, high = 0, 1
	}
	if wide := max(math.Abs(low), math.Abs(high), 1e-3); high-low < 1e-3*wide {
		low, high = low-wide/2, high+wide/2
	}
	step := draw.Step125((high-low)/8, math.Ceil)
	from, to := math.Floor(low/step+1e-9), math.Ceil(high/step-1e-9)
	s := span{low: from * step, high: to * step}
	for k := from; k <= to; k++ {
		s.ticks = append(s.ticks, k*step)
	}
	return s
}

// decimal returns a tick without rounding errors.
func decimal(v float64) string { return say.Short(math.Round(v*1e6) / 1e6) }

// chart is an area of paper with two linear axes.
type chart struct {
	*draw.Pen
	area vg.Rectangle
	x, y span
}

// at returns the place on paper of a pair of values.
func (c chart) at(x, y float64) vg.Point {
	share := func(v float64, s span) vg.Length { return vg.Length((v - s.low) / (s.high - s.low)) }
	size := c.area.Size()
	return c.area.Min.Add(vg.Point{X: size.X * share(x, c.x), Y: size.Y * share(y, c.y)})
}

const tickSize = 7.0

// axes draws the grid, the numbers below and left of it, and the names of the
// axes.
func (c chart) axes(xName, yName string) {
	for _, v := range c.y.ticks {
		ink := draw.Pale
		if v == 0 {
			ink = draw.Grey
		}
		c.Line([]vg.Point{c.at(c.x.low, v), c.at(c.x.high, v)}, 0.5, ink)
		c.Text(c.at(c.x.low, v).Sub(vg.Point{X: 4}), decimal(v), draw.Style{Size: tickSize, Left: 1, Low: 0.5})
	}
	for _, v := range c.x.ticks {
		low := c.at(v, c.y.low)
		c.Line([]vg.Point{low, low.Sub(vg.Point{Y: 3})}, 0.6, draw.Black)
		c.Text(low.Sub(vg.Point{Y: 11}), decimal(v), draw.Style{Size: tickSize, Left: 0.5})
	}
	c.Line([]vg.Point{{X: c.area.Min.X, Y: c.area.Max.Y}, c.area.Min, {X: c.area.Max.X, Y: c.area.Min.Y}}, 0.8, draw.Black)
	c.Text(vg.Point{X: (c.area.Min.X + c.area.Max.X) / 2, Y: c.area.Min.Y - 21}, xName, draw.Style{Size: tickSize + 0.5, Left: 0.5})
	c.Text(vg.Point{X: c.area.Min.X - 25, Y: (c.area.Min.Y + c.area.Max.Y) / 2}, yName, draw.Style{Size: tickSize + 0.5, Left: 0.5, Turn: draw.QuarterTurn})
}

// errorBar draws an interval with ends, moved aside by a length on paper.
func (c chart) errorBar(x, low, high float64, aside vg.Length, ink color.Color) {
	a, b := c.at(x, max(low, c.y.low)).Add(vg.Point{X: aside}), c.at(x, min(high, c.y.high)).Add(vg.Point{X: aside})
	c.Line([]vg.Point{a, b}, 0.8, ink)
	for _, e := range []vg.Point{a, b} {
		c.Line(draw.Level(e, 1.8), 0.8, ink)
	}
}
