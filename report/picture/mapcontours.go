package picture

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/report/say"
)

// contourLine is a line of equal value on paper.
type contourLine struct {
	words string
	limit bool
	path  []vg.Point
}

// speck is the length in points of a line too short to be told from dirt, and
// islet that of one too short to say more than the colour does.
const (
	speck = 12
	islet = 34
)

// contours draws the lines at the bar's ticks and, strongest, at the limit:
// dark on a light edge, so that they show on any colour.
func (m *mapping) contours() []contourLine {
	var lines []contourLine
	at := func(v float64, words string, limit bool) {
		for _, l := range m.heat.value.Lines(math.Log(v)) {
			for _, path := range m.clear(l) {
				least := float64(islet)
				if limit {
					least = speck
				}
				if line := (contourLine{words, limit, path}); line.long() > least {
					lines = append(lines, line)
				}
			}
		}
	}
	for _, v := range m.ramp.Ticks {
		if math.Abs(math.Log(v/m.q.limit)) > 0.02 {
			at(v, say.Short(v), false)
		}
	}
	if m.q.limit > 0 {
		at(m.q.limit, m.q.limitWords, true)
	}
	for _, l := range lines {
		if !l.limit {
			m.page.Line(thinned(l.path), 1.7, draw.White)
			m.page.Line(thinned(l.path), 0.6, draw.Black)
		}
	}
	for _, l := range lines {
		if l.limit {
			m.page.Line(thinned(l.path), 4, draw.White)
			m.page.Line(thinned(l.path), 2.2, draw.Black)
		}
	}
	return lines
}

// clear are the pieces of a line, on paper, that keep out of what is too near to
// a lead.
func (m *mapping) clear(line []r2.Vec) [][]vg.Point {
	pieces := [][]vg.Point{nil}
	for _, p := range line {
		if m.heat.nears && m.heat.near.Bilinear(p.X, p.Y) > 0 {
			pieces = append(pieces, nil)
			continue
		}
		last := len(pieces) - 1
		pieces[last] = append(pieces[last], m.paper(p))
	}
	return pieces
}

// contourNames writes each line's value on it once where there is room inside
// the outline, more often on a long line.
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
			if !taken.Free(box) || !m.inside(grown(box, 3)) {
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

// reserved is where stations, spots and parts will stand.
func (m *mapping) reserved() *draw.Labels {
	l := &draw.Labels{Region: m.page.Labels.Region}
	for _, s := range m.f.Stations {
		l.TakeAround(m.page.Frame.At(draw.Flat(s.Station.At)), 4)
	}
	for _, s := range m.spots {
		l.TakeAround(m.page.Frame.At(draw.Flat(s.At)), 8)
	}
	for _, p := range m.c.Parts {
		if p.AtMM != nil {
			l.TakeAround(m.page.Frame.At(draw.Flat(*p.AtMM)), 5)
		}
	}
	for _, k := range m.c.Keepouts {
		b := k.OutlineMM.Bounds()
		low, high := m.page.Frame.At(b.Min), m.page.Frame.At(b.Max)
		l.Take(low, high)
	}
	for _, p := range m.c.Parts {
		l.TakeAlong(m.page.Frame.All(draw.Flats(p.PathMM)))
		l.TakeAlong(m.page.Frame.All(draw.Flats(p.ReturnPathMM)))
	}
	if m.c.Cable != nil {
		l.TakeAlong(m.page.Frame.All(append([]r2.Vec{m.c.Cable.FromMM}, m.c.Cable.ViaMM...)))
	}
	return l
}

func grown(b vg.Rectangle, by vg.Length) vg.Rectangle {
	d := vg.Point{X: by, Y: by}
	return vg.Rectangle{Min: b.Min.Sub(d), Max: b.Max.Add(d)}
}

// long is the length of the line on paper.
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
	for _, q := range []vg.Point{b.Min, b.Max, {X: b.Min.X, Y: b.Max.Y}, {X: b.Max.X, Y: b.Min.Y}} {
		d := q.Sub(origin)
		if !m.c.Body.OutlineMM.Contains(r2.Vec{X: d.Y.Points() / f.Scale, Y: d.X.Points() / f.Scale}) {
			return false
		}
	}
	return true
}
