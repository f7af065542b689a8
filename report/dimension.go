package report

import (
	"gonum.org/v1/plot/vg"
)

// dimension draws a measure from a to b with ticks of half the length tick at
// its ends and the number in its middle.
func (g *page) dimension(a, b, tick vg.Point, number string, turn float64) {
	g.line([]vg.Point{a, b}, 0.7, grey)
	g.labels.avoidAlong([]vg.Point{a, b})
	for _, e := range []vg.Point{a, b} {
		g.line([]vg.Point{e.Sub(tick), e.Add(tick)}, 0.9, grey)
	}
	middle := a.Add(b).Scale(0.5)
	st := style{size: textSize, left: 0.5, low: 0.5, turn: turn, halo: 2.5}
	g.text(middle, number+" mm", st)
	half := vg.Points(g.pen.width(number+" mm", textSize, false)/2 + 2)
	span := vg.Point{X: half, Y: 6}
	if turn != 0 {
		span = vg.Point{X: 6, Y: half}
	}
	g.labels.take(middle.Sub(span), middle.Add(span))
}
