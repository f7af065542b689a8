package template

import (
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/pdf"
	"quietmount/report/say"
)

// sheet draws the joined paper on a page at a scale: 1 on tiles, smaller on the
// overview.
type sheet struct {
	*drawing
	origin r2.Vec  // on the page, of the place from on the joined paper
	from   r2.Vec  // on the joined paper
	scale  float64 // page millimetres a millimetre
	area   r2.Box  // of the page, on which names may stand
	taken  *taken
}

// at returns the place on the page of a place on the joined paper.
func (s sheet) at(p r2.Vec) r2.Vec {
	return r2.Add(s.origin, r2.Scale(s.scale, r2.Sub(p, s.from)))
}

// craft returns the place on the page of a place on the craft.
func (s sheet) craft(x, y float64) r2.Vec { return s.at(s.l.Paper(r2.Vec{X: x, Y: y})) }

// pen sets width in millimetres and grey, 0 black to 255 white.
func (d *drawing) pen(width float64, grey int, dashes ...float64) {
	d.pdf.SetLineWidth(width)
	d.pdf.SetDrawColor(grey, grey, grey)
	d.pdf.SetFillColor(grey, grey, grey)
	if dashes == nil {
		dashes = []float64{}
	}
	d.pdf.SetDashPattern(dashes, 0)
}

func (d *drawing) line(a, b r2.Vec) { d.pdf.Line(a.X, a.Y, b.X, b.Y) }

func (d *drawing) lines(points []r2.Vec, closed bool) {
	for i := 1; i < len(points); i++ {
		d.line(points[i-1], points[i])
	}
	if n := len(points); closed && n > 2 {
		d.line(points[n-1], points[0])
	}
}

func (d *drawing) fill(points ...r2.Vec) {
	if len(points) == 0 {
		return
	}
	d.pdf.MoveTo(points[0].X, points[0].Y)
	for _, p := range points[1:] {
		d.pdf.LineTo(p.X, p.Y)
	}
	d.pdf.ClosePath()
	d.pdf.DrawPath("F")
}

// arrow draws an arrow from a to b.
func (d *drawing) arrow(a, b r2.Vec, head float64) {
	way := r2.Sub(b, a)
	if r2.Norm(way) == 0 {
		return
	}
	way = r2.Unit(way)
	side := r2.Vec{X: -way.Y, Y: way.X}
	back := r2.Sub(b, r2.Scale(head, way))
	d.line(a, back)
	d.fill(b, r2.Add(back, r2.Scale(head*0.45, side)), r2.Sub(back, r2.Scale(head*0.45, side)))
}

// words is the style of a text: size in points, and the shares of its width and
// height left of and below its place.
type words struct {
	size float64
	bold bool
	grey int
	turn float64 // degrees, counterclockwise
	left float64
	low  float64 // of the height of its capitals
}

// pointMM is a point in millimetres.
const pointMM = 25.4 / 72

func (d *drawing) setFont(w words) {
	style := ""
	if w.bold {
		style = "B"
	}
	d.pdf.SetFont(pdf.Family, style, w.size)
	d.pdf.SetTextColor(w.grey, w.grey, w.grey)
}

func (d *drawing) width(s string, w words) float64 {
	d.setFont(w)
	return d.pdf.GetStringWidth(s)
}

// capHeight is the height of capitals as a share of the font's size.
const capHeight = 0.72

// text writes a line of text.
func (d *drawing) text(at r2.Vec, s string, w words) {
	s, whole := d.letters.Printable(s)
	d.lacking = d.lacking || !whole
	if s == "" {
		return
	}
	x := at.X - w.left*d.width(s, w)
	y := at.Y + w.low*w.size*pointMM*capHeight
	if w.turn == 0 {
		d.pdf.Text(x, y, s)
		return
	}
	d.pdf.TransformBegin()
	d.pdf.TransformRotate(w.turn, at.X, at.Y)
	d.pdf.Text(x, y, s)
	d.pdf.TransformEnd()
}

// wrapped breaks s into lines of at most a width in mm; it cuts a longer word.
func (d *drawing) wrapped(s string, w words, most float64) []string {
	all := strings.Fields(s)
	for i, word := range all {
		all[i], _ = d.fitted(word, w, most)
	}
	return say.Lines(all, func(line string) bool { return d.width(line, w) <= most })
}

// fitted returns s, cut to a width in mm with an ellipsis if it is wider, and
// reports whether it is cut.
func (d *drawing) fitted(s string, w words, most float64) (string, bool) {
	if d.width(s, w) <= most {
		return s, false
	}
	r := []rune(s)
	for len(r) > 1 && d.width(string(r)+"…", w) > most {
		r = r[:len(r)-1]
	}
	return string(r) + "…", true
}
