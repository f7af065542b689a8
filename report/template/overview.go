package template

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/say"
)

// overview draws the first page: instructions, and all tiles small.
func (d *drawing) overview() {
	d.pdf.AddPage()
	l := d.l
	most := l.paper.Width - 2*edge
	at := r2.Vec{X: edge, Y: edge + 5}
	name, _ := d.letters.Printable(d.c.Name)
	title := words{size: 16, bold: true}
	name, _ = d.fitted(say.Named(name)+": station template, "+string(l.side), title, most)
	d.text(at, name, title)
	at.Y += 7
	for _, line := range d.advice() {
		w := words{size: 9}
		for _, l := range d.wrapped(line, w, most) {
			d.text(at, l, w)
			at.Y += w.size * pointMM * 1.3
		}
		at.Y += 1
	}
	foot := l.paper.Height - edge - 8
	d.small(at.Y+7, foot-9)
	d.ruler(r2.Vec{X: edge, Y: foot})
	d.text(r2.Vec{X: edge + rulerMM + 4, Y: foot}, "100 mm", words{size: 7, low: 0})
}

// advice returns instructions, one paragraph each.
func (d *drawing) advice() []string {
	l := d.l
	pages := l.Rows * l.Columns
	out := []string{
		fmt.Sprintf("%s on %s of %s paper. Print at 100 %% (actual size, no fitting to the page) and check the 100 mm line of every page with a ruler.", say.Counted(len(d.stations), "station"), say.Counted(pages, "page"), say.Capital(l.paper.Name)),
	}
	if pages > 1 {
		out = append(out, "Cut or fold at a dashed line, lay the diagonal crosses of neighbouring pages on one another, and tape. Pages are numbered by row, from the nose, and column, from the left of the paper.")
	}
	out = append(out, d.sideWords(),
		"Align the datum and two landmarks (parts, outline, keep-outs) with those of the craft before taping the paper down. The probe stands with the middle of its foot on a cross, its arrow along the arm with the tip, to the nose.",
		"For the background captures, put a second print on a board of wood or plastic where the craft was.")
	if len(d.cut) > 0 {
		const most = 12
		list := d.cut[:min(len(d.cut), most)]
		text := "Names that had to be cut: " + strings.Join(list, "; ")
		if n := len(d.cut) - len(list); n > 0 {
			text += fmt.Sprintf("; and %d more", n)
		}
		out = append(out, text+".")
	}
	if d.lacking {
		out = append(out, "□ stands for a letter that the font lacks; the number behind it is the station's place in the craft file.")
	}
	return out
}

// sideWords returns how the sheet is to be held.
func (d *drawing) sideWords() string {
	if d.l.side == Underside {
		return "This sheet is for the underside: turn the craft over, nose still away from you. The paper is mirrored, so that LEFT and RIGHT are the craft's own left and right."
	}
	return "Seen from above, nose away from you. LEFT and RIGHT are the craft's own."
}

// small draws the joined paper between two heights of the page.
func (d *drawing) small(top, bottom float64) {
	l := d.l
	last := l.Tile(l.Rows-1, l.Columns-1)
	whole := r2.Sub(last.Max, l.from)
	room := r2.Vec{X: l.paper.Width - 2*edge - 14, Y: bottom - top - 12}
	scale := min(room.X/whole.X, room.Y/whole.Y, 1)
	if !(scale > 0) {
		return
	}
	origin := r2.Vec{X: (l.paper.Width - scale*whole.X) / 2, Y: top + 6}
	s := sheet{drawing: d, origin: origin, from: l.from, scale: scale, taken: &taken{}}
	for row := range l.Rows {
		for column := range l.Columns {
			t := l.Tile(row, column)
			a, b := s.at(t.Min), s.at(t.Max)
			s.pen(0.15, 150)
			s.lines([]r2.Vec{a, {X: b.X, Y: a.Y}, b, {X: a.X, Y: b.Y}}, true)
			s.text(r2.Add(a, r2.Vec{X: 12 * scale, Y: 12 * scale}), t.Name(), words{size: 9, bold: true, grey: 110, low: 1})
		}
	}
	s.landmarks(false)
	for _, m := range d.stations {
		at := s.at(m.paper)
		d.pen(0.2, 0)
		d.pdf.Circle(at.X, at.Y, max(0.5, min(1, 6*scale)), "D")
	}
	left, right := l.leftRight()
	middle := r2.Add(origin, r2.Scale(scale/2, whole))
	bold := words{size: 9, bold: true, left: 0.5, low: 0.5}
	d.text(r2.Vec{X: middle.X, Y: origin.Y - 3}, "NOSE", bold)
	d.pen(0.4, 0)
	d.fill(r2.Vec{X: middle.X - 9, Y: origin.Y - 5.5}, r2.Vec{X: middle.X - 11, Y: origin.Y - 1.5}, r2.Vec{X: middle.X - 7, Y: origin.Y - 1.5})
	bold.turn = 90
	d.text(r2.Vec{X: origin.X - 4, Y: middle.Y}, left, bold)
	bold.turn = -90
	d.text(r2.Vec{X: origin.X + scale*whole.X + 4, Y: middle.Y}, right, bold)
}
