package report

// bar draws the colour bar beside the craft: the larger value on top, ticks
// with numbers, an arrow end where values lie beyond.
func (m *mapping) bar() {
	g := m.page
	height := min(float64(g.frame.region.Size().Y)-2*padTop-16, 260)
	height = max(height, 90)
	middle := (g.frame.region.Min.Y + g.frame.region.Max.Y).Points() / 2
	lines := g.wrapped(m.ramp.title, textSize, height+30)
	x := min(g.across-margin-34, g.frame.at(g.frame.box.Max).X.Points()+48+leading*float64(len(lines)))
	g.bar(m.ramp, m.q.limit, lines, x, middle-height/2, middle+height/2)
}
