package template

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/pdf"
)

// sheet draws on a page at a scale: 1 on tiles, smaller on the overview.
type sheet struct {
	*drawing
	origin r2.Vec  // on the page, of the place from on the joined paper
	from   r2.Vec  // on the joined paper
	scale  float64 // page millimetres a millimetre
	area   r2.Box  // of the page, on which names may stand
	taken  *taken
}

// at is the place on the page of a place on the joined paper.
func (s sheet) at(p r2.Vec) r2.Vec {
	return r2.Add(s.origin, r2.Scale(s.scale, r2.Sub(p, s.from)))
}

// craft is the place on the page of a place on the craft.
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

// words is how a text is set: points, bold, turned counterclockwise, and the
// share of its width left of its place.
type words struct {
	size float64
	bold bool
	grey int
	turn float64 // degrees
	left float64
	low  float64 // share of its capital height below its place
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

// wrapped breaks s into lines of a width; a word longer than that is cut.
func (d *drawing) wrapped(s string, w words, most float64) []string {
	var out []string
	line := ""
	for _, word := range splitWords(s) {
		word, _ = d.fitted(word, w, most)
		switch {
		case line == "":
			line = word
		case d.width(line+" "+word, w) <= most:
			line += " " + word
		default:
			out, line = append(out, line), word
		}
	}
	if line != "" {
		out = append(out, line)
	}
	return out
}

// fitted cuts s to a width, with an ellipsis, and says whether it had to.
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

// paragraph sets wrapped lines from a place down and returns where it ended.
func (d *drawing) paragraph(at r2.Vec, s string, w words, most float64) r2.Vec {
	for _, line := range d.wrapped(s, w, most) {
		d.text(at, line, w)
		at.Y += w.size * pointMM * 1.3
	}
	return at
}

func rounded(v float64) float64 { return math.Round(v*10) / 10 }
