package report

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
	"golang.org/x/text/unicode/norm"
	"gonum.org/v1/gonum/spatial/r2"
	plotfont "gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/recorder"
)

// The inks: dark and light carry the drawing, so that it survives grey print.
var (
	black = color.Gray{Y: 0x10}
	grey  = color.Gray{Y: 0x60}
	pale  = color.Gray{Y: 0xc8}
	white = color.Gray{Y: 0xff}
	wire  = color.RGBA{R: 0x9c, G: 0x2a, B: 0x00, A: 0xff} // leads
	solid = color.RGBA{R: 0x1f, G: 0x4e, B: 0x5f, A: 0xff} // parts
)

// noGlyph stands for a letter that the font lacks.
const noGlyph = '□'

// pen draws on a picture: points, upwards from the lower left corner.
type pen struct {
	c       *recorder.Canvas
	fonts   *plotfont.Cache
	lacking bool // a letter was replaced
}

func newPen(p *Picture) *pen {
	return &pen{c: &p.drawing, fonts: plotfont.NewCache(liberation.Collection())}
}

func (p *pen) face(size float64, bold bool) plotfont.Face {
	f := plotfont.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = font.WeightBold
	}
	return p.fonts.Lookup(f, vg.Points(size))
}

// line draws through points; with dashes, broken.
func (p *pen) line(points []vg.Point, width float64, ink color.Color, dashes ...vg.Length) {
	if len(points) < 2 {
		return
	}
	p.c.SetColor(ink)
	p.c.SetLineWidth(vg.Points(width))
	p.c.SetLineDash(dashes, 0)
	p.c.Stroke(pathOf(points, false))
}

// loop draws a closed line.
func (p *pen) loop(points []vg.Point, width float64, ink color.Color, dashes ...vg.Length) {
	p.c.SetColor(ink)
	p.c.SetLineWidth(vg.Points(width))
	p.c.SetLineDash(dashes, 0)
	p.c.Stroke(pathOf(points, true))
}

// fill fills areas; one that runs the other way round is a hole in the first.
func (p *pen) fill(ink color.Color, areas ...[]vg.Point) {
	p.c.SetColor(ink)
	var path vg.Path
	for _, a := range areas {
		path = append(path, pathOf(a, true)...)
	}
	p.c.Fill(path)
}

func pathOf(points []vg.Point, closed bool) vg.Path {
	var path vg.Path
	for i, q := range points {
		if i == 0 {
			path.Move(q)
		} else {
			path.Line(q)
		}
	}
	if closed && len(points) > 0 {
		path.Close()
	}
	return path
}

// image stretches an image over a box.
func (p *pen) image(box vg.Rectangle, img image.Image) { p.c.DrawImage(box, img) }

// disc fills a circle and rings it.
func (p *pen) disc(at vg.Point, radius float64, fill, ring color.Color, width float64) {
	path := circle(at, radius)
	p.c.SetColor(fill)
	p.c.Fill(path)
	p.ring(at, radius, ring, width)
}

func (p *pen) ring(at vg.Point, radius float64, ink color.Color, width float64, dashes ...vg.Length) {
	if width <= 0 {
		return
	}
	p.c.SetColor(ink)
	p.c.SetLineWidth(vg.Points(width))
	p.c.SetLineDash(dashes, 0)
	p.c.Stroke(circle(at, radius))
}

func circle(at vg.Point, radius float64) vg.Path {
	var path vg.Path
	r := vg.Points(radius)
	path.Move(vg.Point{X: at.X + r, Y: at.Y})
	path.Arc(at, r, 0, 2*math.Pi)
	path.Close()
	return path
}

// style is how a text is set. Left and low are the shares of its width and of
// its capital height that lie left of and below its place.
type style struct {
	size      float64 // points
	bold      bool
	ink       color.Color
	left, low float64
	halo      float64 // width of the white edge, points; 0: none
	turn      float64 // radians, counterclockwise
}

// capHeight is the height of capitals as a share of the font's size.
const capHeight = 0.72

// text sets a line of text.
func (p *pen) text(at vg.Point, s string, st style) {
	s = p.printable(s)
	if s == "" {
		return
	}
	f := p.face(st.size, st.bold)
	ink := st.ink
	if ink == nil {
		ink = black
	}
	p.c.Push()
	p.c.Translate(at)
	if st.turn != 0 {
		p.c.Rotate(st.turn)
	}
	from := vg.Point{X: vg.Points(-st.left * p.width(s, st.size, st.bold)), Y: vg.Points(-st.low * st.size * capHeight)}
	if st.halo > 0 {
		p.c.SetColor(white)
		p.c.SetLineWidth(vg.Points(2 * st.halo))
		p.c.SetLineDash(nil, 0)
		p.c.Stroke(outlines(f, from, s))
	}
	p.c.SetColor(ink)
	p.c.FillString(f, from, s)
	p.c.Pop()
}

// width is the width of a line of text in points, letters side by side
// without kerning.
func (p *pen) width(s string, size float64, bold bool) float64 {
	f := p.face(size, bold)
	var b sfnt.Buffer
	w := fixed.Int26_6(0)
	for _, r := range p.printable(s) {
		w += advance(&b, f, r)
	}
	return float64(w) / 64 / outlineScale * size
}

// outlineScale is the number of pixels an em at which letters are measured.
const outlineScale = 256

func advance(b *sfnt.Buffer, f plotfont.Face, r rune) fixed.Int26_6 {
	i, err := f.Face.GlyphIndex(b, r)
	if err != nil {
		return 0
	}
	a, err := f.Face.GlyphAdvance(b, i, fixed.I(outlineScale), font.HintingNone)
	if err != nil {
		return 0
	}
	return a
}

// outlines are the edges of the letters of s, set from a point.
func outlines(f plotfont.Face, from vg.Point, s string) vg.Path {
	var path vg.Path
	var b sfnt.Buffer
	k := f.Font.Size / 64 / outlineScale
	x := from.X
	for _, r := range s {
		i, err := f.Face.GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		segments, err := f.Face.LoadGlyph(&b, i, fixed.I(outlineScale), nil)
		if err != nil {
			continue
		}
		at := func(q fixed.Point26_6) vg.Point {
			return vg.Point{X: x + k*vg.Length(q.X), Y: from.Y - k*vg.Length(q.Y)}
		}
		for _, g := range segments {
			switch g.Op {
			case sfnt.SegmentOpMoveTo:
				path.Move(at(g.Args[0]))
			case sfnt.SegmentOpLineTo:
				path.Line(at(g.Args[0]))
			case sfnt.SegmentOpQuadTo:
				path.QuadTo(at(g.Args[0]), at(g.Args[1]))
			case sfnt.SegmentOpCubeTo:
				path.CubeTo(at(g.Args[0]), at(g.Args[1]), at(g.Args[2]))
			}
		}
		x += k * vg.Length(advance(&b, f, r))
	}
	return path
}

// printable replaces what the font cannot show: by the plain form of a letter
// where it has one, else by one sign for a letter, and with their number for
// several in a row.
func (p *pen) printable(s string) string {
	var out strings.Builder
	missing := 0
	end := func() {
		if missing > 0 {
			out.WriteRune(noGlyph)
			p.lacking = true
		}
		if missing > 1 {
			fmt.Fprintf(&out, "×%d", missing)
		}
		missing = 0
	}
	for _, r := range s {
		plain := string(r)
		if !p.has(plain) {
			plain = norm.NFKC.String(plain)
		}
		if !p.has(plain) {
			missing++
			continue
		}
		end()
		out.WriteString(plain)
	}
	end()
	return out.String()
}

// has reports whether the font has every letter of s.
func (p *pen) has(s string) bool {
	f := p.face(10, false)
	var b sfnt.Buffer
	for _, r := range s {
		if i, err := f.Face.GlyphIndex(&b, r); err != nil || i == 0 || r < ' ' {
			return false
		}
	}
	return true
}

// placed is a name with its place in millimetres where letters of it cannot be
// shown, so that it can be told from others.
func (p *pen) placed(name string, at r2.Vec) string {
	if !strings.ContainsRune(p.printable(name), noGlyph) {
		return name
	}
	return fmt.Sprintf("%s (%.0f, %.0f)", p.shortened(name, textSize, false, longestName/2), at.X, at.Y)
}

// shortened cuts s to fit a width, with an ellipsis.
func (p *pen) shortened(s string, size float64, bold bool, most float64) string {
	if p.width(s, size, bold) <= most {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && p.width(string(r)+"…", size, bold) > most {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// wrapped breaks s into lines that fit a width; a word that is too long is cut.
func (p *pen) wrapped(s string, size float64, most float64) []string {
	var lines []string
	line := ""
	for _, word := range wordsOf(s) {
		word = p.shortened(word, size, false, most)
		switch {
		case line == "":
			line = word
		case p.width(line+" "+word, size, false) <= most:
			line += " " + word
		default:
			lines, line = append(lines, line), word
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}
