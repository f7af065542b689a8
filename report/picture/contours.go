package picture

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
)

// contourLine is a line of equal value on paper, with what is written on it.
type contourLine struct {
	words string
	limit bool
	path  []vg.Point
}

// The shortest lines that are drawn, points: a shorter one at the limit looks
// like dirt, a shorter one elsewhere adds nothing to the colours.
const (
	leastLimit = 12
	leastOther = 34
)

// contours draws the lines at the bar's ticks and, strongest, at the limit:
// dark with a light edge, so that they show on any colour.
func (m *mapping) contours() []contourLine {
	var lines []contourLine
	at := func(v float64, words string, limit bool, least float64) {
		for _, l := range m.value.Lines(math.Log(v)) {
			for _, path := range m.clear(l) {
				if line := (contourLine{words, limit, path}); line.long() > least {
					lines = append(lines, line)
				}
			}
		}
	}
	for _, v := range m.ramp.Ticks {
		if math.Abs(math.Log(v/m.q.limit)) > 0.02 {
			at(v, say.Short(v), false, leastOther)
		}
	}
	if m.q.limit > 0 {
		at(m.q.limit, m.q.limitWords, true, leastLimit)
	}
	for _, l := range lines { // those at the limit come last, on top
		edge, width := 1.7, 0.6
		if l.limit {
			edge, width = 4, 2.2
		}
		m.page.Edged(thinned(l.path), edge, width, draw.Black)
	}
	return lines
}

// contourNames writes each line's value on it, once where there is room inside
// the outline, several times on a long line.
func (m *mapping) contourNames(lines []contourLine) {
	taken := m.reserved()
	for _, l := range lines {
		st := draw.Style{Size: 7, Halo: 1.6, Left: 0.5, Low: 0.5}
		if l.limit {
			st.Size, st.Bold = 7.5, true
		}
		half := vg.Point{X: vg.Points(m.page.Pen.Width(l.words, st.Size, st.Bold)/2 + 1.5), Y: vg.Points(st.Size/2 + 0.5)}
		if l.long() < 45 || l.limit && l.long() < 80 {
			continue
		}
		room := 0.0 // along the line since the last name
		for i := 1; i < len(l.path); i++ {
			room += draw.Distance(l.path[i], l.path[i-1])
			if room < 14 {
				continue
			}
			box := vg.Rectangle{Min: l.path[i].Sub(half), Max: l.path[i].Add(half)}
			margin := vg.Point{X: 3, Y: 3}
			if !taken.Free(box) || !m.inside(vg.Rectangle{Min: box.Min.Sub(margin), Max: box.Max.Add(margin)}) {
				continue
			}
			m.page.Text(l.path[i], l.words, st)
			taken.Take(box.Min, box.Max)
			m.page.Labels.Take(box.Min, box.Max)
			m.page.Picture.Note("contour %s at %.0f, %.0f", l.words, l.path[i].X.Points(), l.path[i].Y.Points())
			room = -220
		}
	}
}

// reserved returns the places of stations, spots, parts, leads and keep-outs, where
// no value may be written.
func (m *mapping) reserved() *draw.Labels {
	l := &draw.Labels{Region: m.page.Labels.Region}
	for _, s := range m.f.Stations {
		l.TakeAround(m.page.Frame.At(draw.Flat(s.Station.At)), 4)
	}
	for _, s := range m.spots {
		l.TakeAround(m.page.Frame.At(draw.Flat(s.At)), 8)
	}
	for _, p := range m.craft.Parts {
		if p.AtMM != nil {
			l.TakeAround(m.page.Frame.At(draw.Flat(*p.AtMM)), 5)
		}
		l.TakeAlong(m.page.Frame.All(draw.Flats(p.PathMM)))
		l.TakeAlong(m.page.Frame.All(draw.Flats(p.ReturnPathMM)))
	}
	for _, k := range m.craft.Keepouts {
		b := k.OutlineMM.Bounds()
		l.Take(m.page.Frame.At(b.Min), m.page.Frame.At(b.Max))
	}
	if m.craft.Cable != nil {
		l.TakeAlong(m.page.Frame.All(append([]r2.Vec{m.craft.Cable.FromMM}, m.craft.Cable.ViaMM...)))
	}
	return l
}

// long returns the length of the line on paper, points.
func (l contourLine) long() float64 {
	sum := 0.0
	for i := 1; i < len(l.path); i++ {
		sum += draw.Distance(l.path[i-1], l.path[i])
	}
	return sum
}

// inside reports whether all of a box lies on the craft.
func (m *mapping) inside(b vg.Rectangle) bool {
	f := m.page.Frame
	origin := f.At(r2.Vec{})
	for _, q := range draw.Corners(b) {
		d := q.Sub(origin)
		if !m.craft.Body.OutlineMM.Contains(r2.Vec{X: d.Y.Points() / f.Scale, Y: d.X.Points() / f.Scale}) {
			return false
		}
	}
	return true
}
