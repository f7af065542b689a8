package template

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r2"
)

// page draws a tile.
func (d *drawing) page(t Tile) {
	d.pdf.AddPage()
	s := sheet{drawing: d, origin: r2.Vec{X: edge, Y: edge}, from: t.Min, scale: 1, taken: &taken{}}
	s.area = r2.Box{Min: s.origin, Max: r2.Add(s.origin, r2.Vec{X: d.l.wide, Y: d.l.high})}
	for _, m := range d.stations {
		s.take(m)
	}
	d.pdf.ClipRect(edge, edge, d.l.wide, d.l.high, false)
	s.landmarks(true)
	for _, m := range d.stations {
		if t.holds(m.paper) {
			s.drawMark(m, m.row == t.Row-1 && m.column == t.Column-1)
		}
	}
	s.joints(t)
	d.pdf.ClipEnd()
	d.rim(t)
	d.foot(t)
}

// joints draws where neighbouring tiles overlap: a dashed line in the middle of the
// strip, and crosses that coincide when the pages are joined.
func (s sheet) joints(t Tile) {
	l := s.l
	for _, c := range []int{t.Column - 1, t.Column} { // the joint before and after
		if c < 1 || c >= l.Columns {
			continue
		}
		u := l.Tile(0, c).Min.X + overlap/2
		s.pen(0.2, 120, 1.5, 1.5)
		s.line(s.at(r2.Vec{X: u, Y: t.Min.Y}), s.at(r2.Vec{X: u, Y: t.Max.Y}))
		for _, part := range []float64{0.25, 0.75} {
			s.joint(r2.Vec{X: u, Y: t.Min.Y + part*(t.Max.Y-t.Min.Y)})
		}
	}
	for _, r := range []int{t.Row - 1, t.Row} {
		if r < 1 || r >= l.Rows {
			continue
		}
		v := l.Tile(r, 0).Min.Y + overlap/2
		s.pen(0.2, 120, 1.5, 1.5)
		s.line(s.at(r2.Vec{X: t.Min.X, Y: v}), s.at(r2.Vec{X: t.Max.X, Y: v}))
		for _, part := range []float64{0.25, 0.75} {
			s.joint(r2.Vec{X: t.Min.X + part*(t.Max.X-t.Min.X), Y: v})
		}
	}
}

// joint draws a cross in a diamond.
func (s sheet) joint(p r2.Vec) {
	at := s.at(p)
	s.pen(0.2, 0)
	const arm = 4
	s.line(r2.Add(at, r2.Vec{X: -arm, Y: -arm}), r2.Add(at, r2.Vec{X: arm, Y: arm}))
	s.line(r2.Add(at, r2.Vec{X: -arm, Y: arm}), r2.Add(at, r2.Vec{X: arm, Y: -arm}))
	s.lines([]r2.Vec{r2.Add(at, r2.Vec{X: 2}), r2.Add(at, r2.Vec{Y: 2}), r2.Add(at, r2.Vec{X: -2}), r2.Add(at, r2.Vec{Y: -2})}, true)
}

// leftRight returns the craft's sides at the paper's left and right; they are
// exchanged on the underside.
func (l *Layout) leftRight() (string, string) {
	if l.side == Underside {
		return "RIGHT", "LEFT"
	}
	return "LEFT", "RIGHT"
}

// rim writes at each edge of the tile which page joins there, and draws the craft's
// directions.
func (d *drawing) rim(t Tile) {
	l := d.l
	d.compass(r2.Box{Min: r2.Vec{X: edge, Y: edge}, Max: r2.Vec{X: edge + l.wide, Y: edge + l.high}})
	midX, midY := edge+l.wide/2, edge+l.high/2
	join := func(row, column int) string {
		if row < 1 || column < 1 || row > l.Rows || column > l.Columns {
			return ""
		}
		return "joins page " + pageName(row, column)
	}
	small := words{size: 7, grey: 60, left: 0.5, low: 0.5}
	d.text(r2.Vec{X: midX + 45, Y: edge - 5}, join(t.Row-1, t.Column), small)
	d.text(r2.Vec{X: midX + 45, Y: edge + l.high + 2.5}, join(t.Row+1, t.Column), small)
	small.turn = 90
	d.text(r2.Vec{X: edge - 5, Y: midY - 45}, join(t.Row, t.Column-1), small)
	small.turn = -90
	d.text(r2.Vec{X: edge + l.wide + 5, Y: midY - 45}, join(t.Row, t.Column+1), small)
}

// compass draws the rim of what is at true scale, and around it the craft's
// directions.
func (d *drawing) compass(area r2.Box) {
	d.pen(0.15, 150)
	d.lines([]r2.Vec{area.Min, {X: area.Max.X, Y: area.Min.Y}, area.Max, {X: area.Min.X, Y: area.Max.Y}}, true)
	left, right := d.l.leftRight()
	middle := r2.Scale(0.5, r2.Add(area.Min, area.Max))
	bold := words{size: 9, bold: true, left: 0.5, low: 0.5}
	nose := r2.Vec{X: middle.X, Y: area.Min.Y - 5}
	d.pen(0.4, 0)
	d.fill(r2.Add(nose, r2.Vec{X: -13, Y: -3}), r2.Add(nose, r2.Vec{X: -15.5, Y: 2}), r2.Add(nose, r2.Vec{X: -10.5, Y: 2}))
	d.text(nose, "NOSE", bold)
	bold.turn = 90
	d.text(r2.Vec{X: area.Min.X - 5, Y: middle.Y}, left, bold)
	bold.turn = -90
	d.text(r2.Vec{X: area.Max.X + 5, Y: middle.Y}, right, bold)
}

// The ruler's place in the strip under the tile.
const (
	rulerMM    = 100.0
	rulerInset = 2.0 // from the tile's left edge
	rulerDown  = 7.0 // under the tile
)

// foot draws the ruler and names the page.
func (d *drawing) foot(t Tile) {
	from := r2.Vec{X: edge + rulerInset, Y: edge + d.l.high + rulerDown}
	d.rulerWithWords(from)
	side := "top, seen from above"
	if d.l.side == Underside {
		side = "underside of the overturned craft"
	}
	name, _ := d.letters.Printable(d.c.Name)
	name, _ = d.fitted(name, words{size: 8}, 70)
	right := edge + d.l.wide
	d.text(r2.Vec{X: right, Y: from.Y + 1}, "page "+t.Name(), words{size: 14, bold: true, left: 1, low: 0.5})
	d.text(r2.Vec{X: right, Y: from.Y + 8.5}, name+": "+side, words{size: 8, left: 1, low: 1})
	d.text(r2.Vec{X: right, Y: from.Y + 12.5}, fmt.Sprintf("row %d of %d, column %d of %d", t.Row, d.l.Rows, t.Column, d.l.Columns), words{size: 7, grey: 60, left: 1, low: 1})
}

// rulerWithWords draws the ruler and what to do if it is not true.
func (d *drawing) rulerWithWords(from r2.Vec) {
	d.ruler(from)
	d.text(r2.Add(from, r2.Vec{Y: 8.5}), "This line is 100 mm long. If it measures anything else, print again at 100 % (actual size).", words{size: 7, low: 1})
}

// ruler draws 100 mm with a tick every ten.
func (d *drawing) ruler(from r2.Vec) {
	d.pen(0.15, 0)
	d.line(from, r2.Add(from, r2.Vec{X: rulerMM}))
	for k := range 11 {
		at := r2.Add(from, r2.Vec{X: float64(k) * 10})
		tall := 2.0
		if k%5 == 0 {
			tall = 3.5
		}
		d.line(at, r2.Add(at, r2.Vec{Y: -tall}))
		if k%5 == 0 {
			d.text(r2.Add(at, r2.Vec{Y: 1}), fmt.Sprint(k*10), words{size: 6, left: 0.5, low: 1})
		}
	}
}
