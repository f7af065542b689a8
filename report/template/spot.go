package template

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/pdf"
	"quietmount/report/say"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Spot is the place that a glue template is for.
type Spot struct {
	Number   int    // in the ranking; 0: given by hand
	At       r3.Vec // surface under the middle of the module's foot, craft frame, mm
	HeightMM float64
	Runs     []int // that the place rests on
}

// ChosenSpot returns the spot of a stored choice; the zero Spot for none.
func ChosenSpot(c *logbook.Choice) Spot {
	if c == nil {
		return Spot{}
	}
	out := Spot{Number: c.Spot.Rank, At: c.At(), HeightMM: c.Spot.HeightMM}
	for _, r := range c.Runs {
		out.Runs = append(out.Runs, r.Run)
	}
	return out
}

// WriteSpot writes the glue template of a spot as PDF: one page at true scale with
// the module's footprint, its arrow, the sensor, and the marks to lay the paper by.
// The same craft, spot and options give the same bytes; Options.OverviewOnly does not
// apply. It returns ErrSide, or ErrTooLarge if the footprint does not fit on the paper,
// wrapped.
func WriteSpot(w io.Writer, c *survey.Craft, spot Spot, o Options) error {
	if o.Paper == (pdf.Paper{}) {
		o.Paper = pdf.A4()
	}
	if o.Side != Top && o.Side != Underside {
		return fmt.Errorf("%q: %w", o.Side, ErrSide)
	}
	// One tile as large as the paper, so that it owns every name.
	l := &Layout{side: o.Side, paper: o.Paper, wide: o.Paper.Width, high: o.Paper.Height, Rows: 1, Columns: 1}
	d, err := newDrawing(c, l, o)
	if err != nil {
		return err
	}
	g := &gluing{drawing: d, spot: spot, centre: l.Paper(r2.Vec{X: spot.At.X, Y: spot.At.Y})}
	for _, m := range c.FromMarks(r2.Vec{X: spot.At.X, Y: spot.At.Y}) {
		g.marks = append(g.marks, fromMark{FromMark: m, paper: l.Paper(m.At)})
	}
	d.pdf.SetTitle(g.title(), true)
	if err := g.page(); err != nil {
		return err
	}
	var b bytes.Buffer
	if err := d.pdf.Output(&b); err != nil {
		return fmt.Errorf("template: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// gluing is the state of drawing one glue template.
type gluing struct {
	*drawing
	spot   Spot
	centre r2.Vec // of the footprint, on the joined paper
	marks  []fromMark
}

// fromMark is a mark with its place on the joined paper.
type fromMark struct {
	survey.FromMark
	paper r2.Vec
	shown bool // it lies on the sheet
}

func (g *gluing) title() string {
	which := "a place given by hand"
	if g.spot.Number > 0 {
		which = fmt.Sprintf("spot %d", g.spot.Number)
	}
	return say.Named(g.c.Name) + ": glue template, " + which
}

// The room that what is drawn around a place takes on the page, millimetres.
const (
	glueArrowMM = 14.0 // ahead of the footprint
	glueAsideMM = 6.0  // around the footprint
	glueMarkMM  = 9.0  // around a mark
	glueNoseMM  = 9.0  // above the drawing, for the nose
)

// page draws the only page.
func (g *gluing) page() error {
	g.pdf.AddPage()
	low := g.o.Paper.Height - edge - strip
	top := g.words(false) // with every mark called too far: never shorter than what is written
	window := r2.Vec{X: g.o.Paper.Width - 2*edge, Y: low - top}
	shown, err := g.frame(window)
	if err != nil {
		return err
	}
	g.words(true)
	area := r2.Box{Min: r2.Vec{X: edge, Y: top}, Max: r2.Vec{X: edge + window.X, Y: low}}
	middle := r2.Scale(0.5, r2.Add(shown.Min, shown.Max))
	s := sheet{drawing: g.drawing, origin: area.Min, from: r2.Sub(middle, r2.Scale(0.5, window)), scale: 1, area: area, taken: &taken{}}
	g.pdf.ClipRect(area.Min.X, area.Min.Y, window.X, window.Y, false)
	g.surroundings(s)
	g.module(s)
	g.pdf.ClipEnd()
	g.compass(area)
	from := r2.Vec{X: edge + rulerInset, Y: low + rulerDown}
	g.rulerWithWords(from)
	g.footWords(area.Max.X, from.Y)
	return nil
}

// frame returns the box on the joined paper that the page must show: the footprint
// with its arrow and, in their order, those marks that fit in beside it.
func (g *gluing) frame(window r2.Vec) (r2.Box, error) {
	half := r2.Scale(0.5, g.foot())
	around := r2.Vec{X: half.X + glueAsideMM, Y: half.Y + glueAsideMM}
	box := r2.Box{Min: r2.Sub(g.centre, around), Max: r2.Add(g.centre, around)}
	box.Min.Y -= glueArrowMM
	fits := func(b r2.Box) bool { return b.Max.X-b.Min.X <= window.X && b.Max.Y-b.Min.Y <= window.Y }
	if !fits(box) {
		f := g.c.Module.FootprintMM
		return box, fmt.Errorf("%w: a footprint of %s by %s mm does not fit on one page of %s paper", ErrTooLarge, say.Tenths(f.X), say.Tenths(f.Y), say.Capital(g.o.Paper.Name))
	}
	for i, m := range g.marks {
		near := r2.Vec{X: glueMarkMM, Y: glueMarkMM}
		low, high := r2.Sub(m.paper, near), r2.Add(m.paper, near)
		with := r2.Box{
			Min: r2.Vec{X: min(box.Min.X, low.X), Y: min(box.Min.Y, low.Y)},
			Max: r2.Vec{X: max(box.Max.X, high.X), Y: max(box.Max.Y, high.Y)},
		}
		if fits(with) {
			box, g.marks[i].shown = with, true
		}
	}
	return box, nil
}

// foot returns the footprint's width and height on the paper: across and along.
func (g *gluing) foot() r2.Vec {
	f := g.c.Module.FootprintMM
	return r2.Vec{X: f.Y, Y: f.X}
}

// words lays out title and instructions, writes them if asked, and returns where the
// drawing begins.
func (g *gluing) words(write bool) (top float64) {
	most := g.o.Paper.Width - 2*edge
	at := r2.Vec{X: edge, Y: edge + 5}
	heading, _ := g.letters.Printable(g.title())
	title := words{size: 16, bold: true}
	heading, _ = g.fitted(heading, title, most)
	if write {
		g.text(at, heading, title)
	}
	at.Y += 6.5
	for i, line := range g.advice() {
		w := words{size: 9, bold: i == 0}
		for _, l := range g.wrapped(line, w, most) {
			if write {
				g.text(at, l, w)
			}
			at.Y += w.size * pointMM * 1.25
		}
		at.Y += 0.7
	}
	return at.Y + glueNoseMM
}

// advice returns where the module stands and what to do, one paragraph each.
func (g *gluing) advice() []string {
	at, module := g.spot.At, g.c.Module
	var place []survey.FromMark
	var beyond []string
	for _, m := range g.marks {
		place = append(place, m.FromMark)
		if !m.shown {
			name := say.MarkName(m.FromMark)
			if m.Kind != survey.MarkStation {
				name = "the " + name
			}
			beyond = append(beyond, name)
		}
	}
	stands := "The middle of the module's foot: " + say.FromMarks(place, g.spot.HeightMM)
	if g.spot.HeightMM == 0 {
		stands += ", on the surface"
	}
	name := module.Name
	if name == "" {
		name = "the module"
	}
	about := fmt.Sprintf("In the craft frame x %.1f, y %.1f, z %.1f mm. Footprint of %s: %s mm along by %s mm across.", tidyZero(at.X), tidyZero(at.Y), tidyZero(at.Z), name, say.Tenths(module.FootprintMM.X), say.Tenths(module.FootprintMM.Y))
	lay := "Lay the sheet's crosses and edges on those of the craft, nose to nose, and tape it down."
	if len(beyond) > 0 {
		lay += " Too far for this sheet, to be measured with a ruler: " + say.Listed(beyond) + "."
	}
	steps := fmt.Sprintf("Print at 100 %% (actual size, no fitting to the page) on %s paper and check the 100 mm line with a ruler. %s Cut the rectangle out, or prick its corners through. Glue the module there, its arrow in line with the printed one.", say.Capital(g.o.Paper.Name), lay)
	return []string{stands + ".", about, steps, g.sideWords()}
}

// tidyZero rounds to a tenth and takes the sign from zero.
func tidyZero(v float64) float64 { return math.Round(v*10)/10 + 0 }

// surroundings draws what of the craft lies around the spot.
func (g *gluing) surroundings(s sheet) {
	s.pen(0.7, 0)
	s.lines(s.places(s.c.Body.OutlineMM), true)
	for _, k := range s.c.Keepouts {
		s.pen(0.35, 60, 3, 2)
		s.lines(s.places(k.OutlineMM), true)
		b := k.OutlineMM.Bounds()
		s.name(s.craft((b.Min.X+b.Max.X)/2, (b.Min.Y+b.Max.Y)/2), "keep out: "+k.Name, true)
	}
	at := s.at(g.centre)
	s.pen(0.15, 150, 6, 1.5, 1, 1.5)
	s.line(r2.Vec{X: at.X, Y: s.area.Min.Y}, r2.Vec{X: at.X, Y: s.area.Max.Y})
	s.line(r2.Vec{X: s.area.Min.X, Y: at.Y}, r2.Vec{X: s.area.Max.X, Y: at.Y})
	if slices.ContainsFunc(g.marks, func(m fromMark) bool { return m.Kind == survey.MarkCentreLine }) {
		x := s.craft(0, 0).X
		s.pen(0.35, 60, 8, 1.5, 2, 1.5)
		s.line(r2.Vec{X: x, Y: s.area.Min.Y}, r2.Vec{X: x, Y: s.area.Max.Y})
		s.tag(r2.Vec{X: x, Y: s.area.Max.Y - 6}, "centre line")
	}
	s.datum(false)
	whole := r2.Vec{X: 6.5, Y: 8} // of a cross with its tip
	for _, m := range g.stations {
		if at := s.at(m.paper); holds(s.area, r2.Sub(at, whole)) && holds(s.area, r2.Add(at, whole)) {
			s.take(m)
			s.drawMark(m, true)
		}
	}
}

// module draws the footprint with cross, arrow and sensor, and the way to the marks.
func (g *gluing) module(s sheet) {
	at, half := s.at(g.centre), r2.Scale(0.5, g.foot())
	a, b := r2.Sub(at, half), r2.Add(at, half)
	s.pen(0.45, 0)
	s.lines([]r2.Vec{a, {X: b.X, Y: a.Y}, b, {X: a.X, Y: b.Y}}, true)
	const out = 5 // the sides run on, so that they show beside the module
	s.pen(0.15, 0)
	for _, x := range []float64{a.X, b.X} {
		s.line(r2.Vec{X: x, Y: a.Y - out}, r2.Vec{X: x, Y: a.Y})
		s.line(r2.Vec{X: x, Y: b.Y}, r2.Vec{X: x, Y: b.Y + out})
	}
	for _, y := range []float64{a.Y, b.Y} {
		s.line(r2.Vec{X: a.X - out, Y: y}, r2.Vec{X: a.X, Y: y})
		s.line(r2.Vec{X: b.X, Y: y}, r2.Vec{X: b.X + out, Y: y})
	}
	s.pen(0.25, 0)
	s.line(r2.Add(at, r2.Vec{X: -4}), r2.Add(at, r2.Vec{X: 4}))
	s.line(r2.Add(at, r2.Vec{Y: -4}), r2.Add(at, r2.Vec{Y: 4}))
	s.pen(0.5, 0)
	tip := r2.Vec{X: at.X, Y: a.Y - glueArrowMM}
	s.arrow(r2.Vec{X: at.X, Y: a.Y}, tip, 5)
	s.taken.boxes = append(s.taken.boxes, r2.Box{Min: r2.Vec{X: at.X - 2.5, Y: tip.Y}, Max: r2.Vec{X: at.X + 2.5, Y: a.Y}}, r2.Box{Min: r2.Sub(at, r2.Vec{X: 4, Y: 4}), Max: r2.Add(at, r2.Vec{X: 4, Y: 4})})
	off := s.c.Module.SensorOffsetMM
	sensor := s.craft(g.spot.At.X+off.X, g.spot.At.Y+off.Y)
	s.pen(0.3, 0)
	s.pdf.Circle(sensor.X, sensor.Y, 1.6, "D")
	s.pdf.Circle(sensor.X, sensor.Y, 0.4, "F")
	s.taken.boxes = append(s.taken.boxes, r2.Box{Min: r2.Sub(sensor, r2.Vec{X: 2, Y: 2}), Max: r2.Add(sensor, r2.Vec{X: 2, Y: 2})})
	for _, side := range []r2.Box{{Min: a, Max: r2.Vec{X: a.X, Y: b.Y}}, {Min: a, Max: r2.Vec{X: b.X, Y: a.Y}}, {Min: r2.Vec{X: b.X, Y: a.Y}, Max: b}, {Min: r2.Vec{X: a.X, Y: b.Y}, Max: b}} {
		s.taken.boxes = append(s.taken.boxes, side)
	}
	g.legs(s)
	s.tag(sensor, "sensor")
	s.tag(r2.Vec{X: at.X, Y: a.Y - glueArrowMM/2}, "module's arrow, to the nose")
}

// legs draws the way from each mark on the sheet to the centre, sideways and then
// along, with the distances in whole millimetres. Two marks in one row share a leg.
func (g *gluing) legs(s sheet) {
	to := s.at(g.centre)
	type leg struct {
		from, to r2.Vec
		words    string
	}
	var all []leg
	add := func(a, b r2.Vec, v *float64) { // a shorter leg than 3 mm shows no words: they stand above
		twice := slices.ContainsFunc(all, func(l leg) bool { return r2.Norm(r2.Sub(l.from, a))+r2.Norm(r2.Sub(l.to, b)) < 0.1 })
		if v != nil && math.Abs(*v) >= 3 && !twice {
			all = append(all, leg{a, b, fmt.Sprintf("%.0f mm", math.Abs(*v))})
		}
	}
	for _, m := range g.marks {
		if m.shown {
			from := s.at(m.paper)
			corner := r2.Vec{X: to.X, Y: from.Y}
			add(from, corner, m.RightMM)
			add(corner, to, m.AheadMM)
		}
	}
	s.pen(0.35, 0, 1, 1)
	for _, l := range all {
		s.line(l.from, l.to)
	}
	for _, l := range all {
		s.tag(r2.Scale(0.5, r2.Add(l.from, l.to)), l.words)
	}
}

// tag writes words near a place where no other words and no mark are, on white, so
// that no line crosses them.
func (s sheet) tag(at r2.Vec, what string) {
	w := words{size: 8, left: 0.5, low: 0.5}
	half := r2.Vec{X: s.width(what, w)/2 + 0.6, Y: 1.7}
	for _, by := range []r2.Vec{
		{Y: -2.6}, {Y: 2.6}, {X: 2 + half.X}, {X: -2 - half.X}, {X: 4.5 + half.X}, {X: -4.5 - half.X}, {Y: -5}, {Y: 5},
		{X: 4 + half.X, Y: -4}, {X: -4 - half.X, Y: -4}, {X: 4 + half.X, Y: 4}, {X: -4 - half.X, Y: 4}, {Y: -9}, {Y: 9}, {X: 9 + half.X, Y: -7}, {X: -9 - half.X, Y: -7}, {X: 9 + half.X, Y: 7}, {X: -9 - half.X, Y: 7},
	} {
		middle := r2.Add(at, by)
		box := r2.Box{Min: r2.Sub(middle, half), Max: r2.Add(middle, half)}
		if s.taken.free(box) && holds(s.area, box.Min) && holds(s.area, box.Max) {
			s.taken.boxes = append(s.taken.boxes, box)
			if near := (r2.Vec{X: min(max(at.X, box.Min.X), box.Max.X), Y: min(max(at.Y, box.Min.Y), box.Max.Y)}); r2.Norm(r2.Sub(near, at)) > 3.5 {
				s.pen(0.15, 90)
				s.line(at, near)
			}
			s.pdf.SetFillColor(255, 255, 255)
			s.pdf.Rect(box.Min.X, box.Min.Y, 2*half.X, 2*half.Y, "F")
			s.text(middle, what, w)
			return
		}
	}
	s.name(at, what, true) // there is no room: over another is better than none
}

// footWords writes at the right of the foot what the sheet is of.
func (g *gluing) footWords(right, y float64) {
	height := "on the surface"
	if g.spot.HeightMM != 0 {
		height = say.Short(say.Tidy(g.spot.HeightMM)) + " mm above the surface"
	}
	var runs []string
	for _, n := range g.spot.Runs {
		runs = append(runs, fmt.Sprint(n))
	}
	from := ""
	if len(runs) > 0 {
		from = "from run" + strings.Repeat("s", min(1, len(runs)-1)) + " " + say.Listed(runs) + ", "
	}
	name, _ := g.letters.Printable(g.c.Name)
	name, _ = g.fitted(name, words{size: 8}, 70)
	which := "by hand"
	if g.spot.Number > 0 {
		which = fmt.Sprintf("spot %d", g.spot.Number)
	}
	room := right - edge - rulerInset - rulerMM - 6
	g.text(r2.Vec{X: right, Y: y + 1}, which, words{size: 14, bold: true, left: 1, low: 0.5})
	last := words{size: 7, grey: 60, left: 1, low: 1}
	dated, _ := g.fitted(from+g.o.Date.Format("2006-01-02"), last, room)
	g.text(r2.Vec{X: right, Y: y + 8.5}, name+": "+height, words{size: 8, left: 1, low: 1})
	g.text(r2.Vec{X: right, Y: y + 12.5}, dated, last)
}
