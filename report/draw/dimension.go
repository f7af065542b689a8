package draw

import (
	"gonum.org/v1/plot/vg"
)

// Dimension draws a dimension line from a to b, with the number in its middle and
// ticks at its ends that reach tick to either side.
func (g *Page) Dimension(a, b, tick vg.Point, number string, turn float64) {
	g.Line([]vg.Point{a, b}, 0.7, Grey)
	g.Labels.AvoidAlong([]vg.Point{a, b})
	for _, e := range []vg.Point{a, b} {
		g.Line([]vg.Point{e.Sub(tick), e.Add(tick)}, 0.9, Grey)
	}
	middle := a.Add(b).Scale(0.5)
	st := Style{Size: TextSize, Left: 0.5, Low: 0.5, Turn: turn, Halo: 2.5}
	g.Text(middle, number+" mm", st)
	half := vg.Points(g.Pen.Width(number+" mm", TextSize, false)/2 + 2)
	span := vg.Point{X: half, Y: 6}
	if turn != 0 {
		span = vg.Point{X: 6, Y: half}
	}
	g.Labels.Take(middle.Sub(span), middle.Add(span))
}
