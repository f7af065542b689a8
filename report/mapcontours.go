package report

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/plot/vg"
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
		for _, l := range m.heat.value.contour(math.Log(v)) {
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
	for _, v := range m.ramp.ticks {
		if math.Abs(math.Log(v/m.q.limit)) > 0.02 {
			at(v, short(v), false)
		}
	}
	if m.q.limit > 0 {
		at(m.q.limit, m.q.limitWords, true)
	}
	for _, l := range lines {
		if !l.limit {
			m.page.line(thinned(l.path), 1.7, white)
			m.page.line(thinned(l.path), 0.6, black)
		}
	}
	for _, l := range lines {
		if l.limit {
			m.page.line(thinned(l.path), 4, white)
			m.page.line(thinned(l.path), 2.2, black)
		}
	}
	return lines
}

// clear are the pieces of a line, on paper, that keep out of what is too near to
// a lead.
func (m *mapping) clear(line []r2.Vec) [][]vg.Point {
	pieces := [][]vg.Point{nil}
	for _, p := range line {
		if m.heat.nears && m.heat.near.bilinear(p.X, p.Y) > 0 {
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
		st := style{size: 7, halo: 1.6, left: 0.5, low: 0.5}
		if l.limit {
			st.size, st.bold = 7.5, true
		}
		half := vg.Point{X: vg.Points(m.page.pen.width(l.words, st.size, st.bold)/2 + 1.5), Y: vg.Points(st.size/2 + 0.5)}
		if l.long() < 45 || l.limit && l.long() < 80 {
			continue
		}
		room := 0.0 // along the line since the last name
		for i := 1; i < len(l.path); i++ {
			room += distance(l.path[i], l.path[i-1])
			if room < 14 {
				continue
			}
			box := vg.Rectangle{Min: l.path[i].Sub(half), Max: l.path[i].Add(half)}
			if !taken.free(box) || !m.inside(grown(box, 3)) {
				continue
			}
			m.page.text(l.path[i], l.words, st)
			taken.take(box.Min, box.Max)
			m.page.labels.take(box.Min, box.Max)
			m.page.pic.note("contour %s at %.0f, %.0f", l.words, l.path[i].X.Points(), l.path[i].Y.Points())
			room = -220
		}
	}
}

// reserved is where stations, spots and parts will stand.
func (m *mapping) reserved() *labels {
	l := &labels{region: m.page.labels.region}
	for _, s := range m.f.Stations {
		l.takeAround(m.page.frame.at(flat(s.Station.At)), 4)
	}
	for _, s := range m.spots {
		l.takeAround(m.page.frame.at(flat(s.At)), 8)
	}
	for _, p := range m.c.Parts {
		if p.AtMM != nil {
			l.takeAround(m.page.frame.at(flat(*p.AtMM)), 5)
		}
	}
	for _, k := range m.c.Keepouts {
		b := k.OutlineMM.Bounds()
		low, high := m.page.frame.at(b.Min), m.page.frame.at(b.Max)
		l.take(low, high)
	}
	for _, p := range m.c.Parts {
		l.takeAlong(m.page.frame.all(flats(p.PathMM)))
		l.takeAlong(m.page.frame.all(flats(p.ReturnPathMM)))
	}
	if m.c.Cable != nil {
		l.takeAlong(m.page.frame.all(append([]r2.Vec{m.c.Cable.FromMM}, m.c.Cable.ViaMM...)))
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
		sum += distance(l.path[i-1], l.path[i])
	}
	return sum
}

// inside reports whether all of a box lies on the craft.
func (m *mapping) inside(b vg.Rectangle) bool {
	f := m.page.frame
	origin := f.at(r2.Vec{})
	for _, q := range []vg.Point{b.Min, b.Max, {X: b.Min.X, Y: b.Max.Y}, {X: b.Max.X, Y: b.Min.Y}} {
		d := q.Sub(origin)
		if !m.c.Body.OutlineMM.Contains(r2.Vec{X: d.Y.Points() / f.scale, Y: d.X.Points() / f.scale}) {
			return false
		}
	}
	return true
}
