package draw

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

	"quietmount/report/say"
)

// The inks. Dark and light carry the drawing, so that it survives grey print.
var (
	Black = color.Gray{Y: 0x10}
	Grey  = color.Gray{Y: 0x60}
	Pale  = color.Gray{Y: 0xc8}
	White = color.Gray{Y: 0xff}
	Wire  = color.RGBA{R: 0x9c, G: 0x2a, B: 0x00, A: 0xff} // leads
	Solid = color.RGBA{R: 0x1f, G: 0x4e, B: 0x5f, A: 0xff} // parts
)

// noGlyph stands for a letter that the font lacks.
const noGlyph = '□'

// Pen draws on a picture, in points from the lower left corner, y upwards.
type Pen struct {
	Canvas  *recorder.Canvas
	fonts   *plotfont.Cache
	lacking bool // the font lacked a letter
}

// NewPen returns a pen that draws on a picture.
func NewPen(p *Picture) *Pen {
	return &Pen{Canvas: &p.drawing, fonts: plotfont.NewCache(liberation.Collection())}
}

func (p *Pen) face(size float64, bold bool) plotfont.Face {
	f := plotfont.Font{Typeface: "Liberation", Variant: "Sans"}
	if bold {
		f.Weight = font.WeightBold
	}
	return p.fonts.Lookup(f, vg.Points(size))
}

// Line draws a line through points, broken if dashes are given.
func (p *Pen) Line(points []vg.Point, width float64, ink color.Color, dashes ...vg.Length) {
	if len(points) > 1 {
		p.stroke(pathOf(points, false), width, ink, dashes)
	}
}

// Lines draws many lines as Line does, as one path: a small part of the size.
func (p *Pen) Lines(runs [][]vg.Point, width float64, ink color.Color, dashes ...vg.Length) {
	var path vg.Path
	for _, r := range runs {
		if len(r) > 1 {
			path = append(path, pathOf(r, false)...)
		}
	}
	if len(path) > 0 {
		p.stroke(path, width, ink, dashes)
	}
}

// Edged draws a line as Line does, on a solid white one of width edge, so that it
// shows on any ground.
func (p *Pen) Edged(points []vg.Point, edge, width float64, ink color.Color, dashes ...vg.Length) {
	p.Line(points, edge, White)
	p.Line(points, width, ink, dashes...)
}

// Loop draws a closed line.
func (p *Pen) Loop(points []vg.Point, width float64, ink color.Color, dashes ...vg.Length) {
	p.stroke(pathOf(points, true), width, ink, dashes)
}

func (p *Pen) stroke(path vg.Path, width float64, ink color.Color, dashes []vg.Length) {
	p.Canvas.SetColor(ink)
	p.Canvas.SetLineWidth(vg.Points(width))
	p.Canvas.SetLineDash(dashes, 0)
	p.Canvas.Stroke(path)
}

// Fill fills areas. An area that runs the other way round is a hole in the first.
func (p *Pen) Fill(ink color.Color, areas ...[]vg.Point) {
	p.Canvas.SetColor(ink)
	var path vg.Path
	for _, a := range areas {
		path = append(path, pathOf(a, true)...)
	}
	p.Canvas.Fill(path)
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

// Image stretches an image over a box.
func (p *Pen) Image(box vg.Rectangle, img image.Image) { p.Canvas.DrawImage(box, newInset(img)) }

// Disc fills a circle and rings it.
func (p *Pen) Disc(at vg.Point, radius float64, fill, ring color.Color, width float64) {
	path := circle(at, radius)
	p.Canvas.SetColor(fill)
	p.Canvas.Fill(path)
	p.Ring(at, radius, ring, width)
}

// Ring draws a circle, broken if dashes are given; nothing if the width is 0.
func (p *Pen) Ring(at vg.Point, radius float64, ink color.Color, width float64, dashes ...vg.Length) {
	if width > 0 {
		p.stroke(circle(at, radius), width, ink, dashes)
	}
}

func circle(at vg.Point, radius float64) vg.Path {
	var path vg.Path
	r := vg.Points(radius)
	path.Move(vg.Point{X: at.X + r, Y: at.Y})
	path.Arc(at, r, 0, 2*math.Pi)
	path.Close()
	return path
}

// Style is the style of a text. Left and Low are the shares of its width and of its
// capital height that lie left of and below its place.
type Style struct {
	Size      float64 // points
	Bold      bool
	Ink       color.Color
	Left, Low float64
	Halo      float64 // width of the white edge, points
	Turn      float64 // radians, counterclockwise
}

// capHeight is the height of capitals as a share of the font's size.
const capHeight = 0.72

// Text writes a line of text.
func (p *Pen) Text(at vg.Point, s string, st Style) {
	s = p.printable(s)
	if s == "" {
		return
	}
	f := p.face(st.Size, st.Bold)
	ink := st.Ink
	if ink == nil {
		ink = Black
	}
	p.Canvas.Push()
	p.Canvas.Translate(at)
	if st.Turn != 0 {
		p.Canvas.Rotate(st.Turn)
	}
	from := vg.Point{X: vg.Points(-st.Left * p.Width(s, st.Size, st.Bold)), Y: vg.Points(-st.Low * st.Size * capHeight)}
	if st.Halo > 0 {
		p.stroke(outlines(f, from, s), 2*st.Halo, White, nil)
	}
	p.Canvas.SetColor(ink)
	p.Canvas.FillString(f, from, s)
	p.Canvas.Pop()
}

// Width returns the width of a line of text in points, without kerning.
func (p *Pen) Width(s string, size float64, bold bool) float64 {
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

// outlines returns the edges of the letters of s, set from a point.
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

// printable replaces letters that the font lacks: by their plain form if the font
// has that, else by noGlyph, followed by their number if there are several in a
// row.
func (p *Pen) printable(s string) string {
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
func (p *Pen) has(s string) bool {
	if len(s) == 1 { // the font has all of ASCII
		return s[0] >= ' ' && s[0] <= '~'
	}
	f := p.face(10, false)
	var b sfnt.Buffer
	for _, r := range s {
		if i, err := f.Face.GlyphIndex(&b, r); err != nil || i == 0 || r < ' ' {
			return false
		}
	}
	return true
}

// Placed returns a name, with its place in millimetres if the font lacks letters
// of it, so that it differs from others.
func (p *Pen) Placed(name string, at r2.Vec) string {
	if !strings.ContainsRune(p.printable(name), noGlyph) {
		return name
	}
	return fmt.Sprintf("%s (%.0f, %.0f)", p.Shortened(name, TextSize, false, longestName/2), at.X, at.Y)
}

// Shortened returns s, cut to a width in points with an ellipsis if it is wider.
func (p *Pen) Shortened(s string, size float64, bold bool, most float64) string {
	if p.Width(s, size, bold) <= most {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && p.Width(string(r)+"…", size, bold) > most {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// Wrapped breaks s into lines that fit a width in points; it cuts a word that is
// longer.
func (p *Pen) Wrapped(s string, size float64, most float64) []string {
	words := say.Words(s)
	for i, w := range words {
		words[i] = p.Shortened(w, size, false, most)
	}
	return say.Lines(words, func(line string) bool { return p.Width(line, size, false) <= most })
}
