package picture

import (
	"quietmount/report/draw"
)

// bar draws the colour bar beside the craft: the larger value on top, ticks
// with numbers, an arrow end where values lie beyond.
func (m *mapping) bar() {
	g := m.page
	height := min(float64(g.Frame.Region.Size().Y)-2*draw.PadTop-16, 260)
	height = max(height, 90)
	middle := (g.Frame.Region.Min.Y + g.Frame.Region.Max.Y).Points() / 2
	lines := g.Wrapped(m.ramp.Title, draw.TextSize, height+30)
	x := min(g.Across-draw.Margin-34, g.Frame.At(g.Frame.Box.Max).X.Points()+48+draw.Leading*float64(len(lines)))
	g.Bar(m.ramp, m.q.limit, lines, x, middle-height/2, middle+height/2)
}
