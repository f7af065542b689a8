package report

// bar draws the colour bar beside the craft: the larger value on top, ticks
// with numbers, an arrow end where values lie beyond.
func (m *mapping) bar() {
	g := m.page
	height := min(float64(g.Frame.Region.Size().Y)-2*PadTop-16, 260)
	height = max(height, 90)
	middle := (g.Frame.Region.Min.Y + g.Frame.Region.Max.Y).Points() / 2
	lines := g.Wrapped(m.ramp.Title, TextSize, height+30)
	x := min(g.Across-Margin-34, g.Frame.At(g.Frame.Box.Max).X.Points()+48+Leading*float64(len(lines)))
	g.Bar(m.ramp, m.q.limit, lines, x, middle-height/2, middle+height/2)
}
