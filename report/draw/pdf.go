package draw

import (
	"bytes"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"io"
	"math"
	"strings"

	"codeberg.org/go-pdf/fpdf"
	xfont "golang.org/x/image/font"
	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/vg"

	"quietmount/report/pdf"
)

func (p *Picture) writePDF(w io.Writer) error {
	doc, err := pdf.New(p.Width.Points(), p.Height.Points(), "pt", p.Dated)
	if err != nil {
		return fmt.Errorf("draw pdf: %w", err)
	}
	doc.SetTitle(p.title, true)
	doc.SetSubject(p.desc, true)
	doc.AddPage()
	if err := p.drawing.ReplayOn(newPDFCanvas(doc, p.Height)); err != nil {
		return fmt.Errorf("draw pdf: %w", err)
	}
	if err := doc.Output(w); err != nil {
		return fmt.Errorf("draw pdf: %w", err)
	}
	return nil
}

// PaintPDF draws the picture on the current page of a document in points, its
// upper left corner at x, y from that of the page.
func (p *Picture) PaintPDF(doc *fpdf.Fpdf, x, y, scale float64) error {
	_, high := doc.GetPageSize()
	c := newPDFCanvas(doc, vg.Length(high))
	c.Push()
	c.Translate(vg.Point{X: vg.Length(x), Y: vg.Length(high - y - scale*p.Height.Points())})
	c.Scale(scale, scale)
	err := p.drawing.ReplayOn(c)
	c.Pop()
	if err != nil {
		return fmt.Errorf("draw pdf: %w", err)
	}
	return nil
}

// Size returns the picture's width and height in points.
func (p *Picture) Size() (width, height float64) { return p.Width.Points(), p.Height.Points() }

// pdfCanvas draws on a page of a PDF. It replaces the plotting library's own
// canvas, which turns images upside down, has only a Western alphabet and dates
// the file by the clock. Paths are written as PDF operators, whose
// coordinates run upwards from the lower left corner as vg's do.
// Source of the operators: ISO 32000-1, 8.4.4, 8.5.2, 8.5.3.
type pdfCanvas struct {
	doc    *fpdf.Fpdf
	height vg.Length // of the page
	ink    []pdfInk  // the last one counts
}

type pdfInk struct {
	color color.Color
	width vg.Length
}

func newPDFCanvas(doc *fpdf.Fpdf, height vg.Length) *pdfCanvas {
	c := &pdfCanvas{doc: doc, height: height, ink: []pdfInk{{}}}
	c.write("1 j") // round joins, as in the other formats
	vg.Initialize(c)
	return c
}

var _ vg.Canvas = (*pdfCanvas)(nil)

func (c *pdfCanvas) now() *pdfInk { return &c.ink[len(c.ink)-1] }

func (c *pdfCanvas) write(format string, args ...any) {
	c.doc.RawWriteStr(fmt.Sprintf(format, args...))
}

// SetLineWidth and the methods after it are those of vg.Canvas.
func (c *pdfCanvas) SetLineWidth(w vg.Length) {
	c.now().width = w
	c.write("%.3f w", w.Points())
}

// SetLineDash sets the pattern of lines to come.
func (c *pdfCanvas) SetLineDash(dashes []vg.Length, offset vg.Length) {
	words := make([]string, len(dashes))
	for i, d := range dashes {
		words[i] = fmt.Sprintf("%.3f", d.Points())
	}
	c.write("[%s] %.3f d", strings.Join(words, " "), offset.Points())
}

// SetColor sets the colour of fills, lines and text; all inks are opaque.
func (c *pdfCanvas) SetColor(k color.Color) {
	if k == nil {
		k = color.Black
	}
	c.now().color = k
	r, g, b := shares(k)
	c.write("%.3f %.3f %.3f rg %.3f %.3f %.3f RG", r, g, b, r, g, b)
}

// shares returns red, green and blue from 0 to 1.
func shares(k color.Color) (r, g, b float64) {
	ri, gi, bi, _ := k.RGBA()
	return float64(ri) / math.MaxUint16, float64(gi) / math.MaxUint16, float64(bi) / math.MaxUint16
}

// Rotate turns what follows, radians, counterclockwise.
func (c *pdfCanvas) Rotate(a float64) {
	sin, cos := math.Sincos(a)
	c.write("%.6f %.6f %.6f %.6f 0 0 cm", cos, sin, -sin, cos)
}

// Translate shifts what follows.
func (c *pdfCanvas) Translate(p vg.Point) {
	c.write("1 0 0 1 %.3f %.3f cm", p.X.Points(), p.Y.Points())
}

// Scale stretches what follows.
func (c *pdfCanvas) Scale(x, y float64) { c.write("%.6f 0 0 %.6f 0 0 cm", x, y) }

// Push keeps the state.
func (c *pdfCanvas) Push() {
	c.ink = append(c.ink, *c.now())
	c.write("q")
}

// Pop goes back to the state last kept.
func (c *pdfCanvas) Pop() {
	c.ink = c.ink[:len(c.ink)-1]
	c.write("Q")
}

// Stroke draws a path's line.
func (c *pdfCanvas) Stroke(p vg.Path) {
	if c.now().width > 0 {
		c.path(p, "S")
	}
}

// Fill fills a path.
func (c *pdfCanvas) Fill(p vg.Path) { c.path(p, "f") }

func (c *pdfCanvas) path(p vg.Path, paint string) {
	var b strings.Builder
	var at vg.Point
	for i, s := range p {
		switch s.Type {
		case vg.MoveComp:
			pdfOp(&b, "m", s.Pos)
		case vg.LineComp:
			pdfOp(&b, "l", s.Pos)
		case vg.CurveComp:
			pdfCurve(&b, at, s)
		case vg.ArcComp:
			at = pdfArc(&b, i == 0, s)
			continue
		case vg.CloseComp:
			b.WriteString("h ")
			continue
		}
		at = s.Pos
	}
	c.write("%s%s", b.String(), paint)
}

func pdfOp(b *strings.Builder, op string, points ...vg.Point) {
	for _, p := range points {
		fmt.Fprintf(b, "%.3f %.3f ", p.X.Points(), p.Y.Points())
	}
	b.WriteString(op + " ")
}

// pdfCurve writes a curve. It turns one with a single control point into the cubic
// that draws the same line.
func pdfCurve(b *strings.Builder, from vg.Point, s vg.PathComp) {
	if len(s.Control) == 2 {
		pdfOp(b, "c", s.Control[0], s.Control[1], s.Pos)
		return
	}
	toward := func(end vg.Point) vg.Point { return end.Add(s.Control[0].Sub(end).Scale(2. / 3)) }
	pdfOp(b, "c", toward(from), toward(s.Pos), s.Pos)
}

// pdfArc writes an arc as cubics of at most a quarter turn and returns its end.
// Source: the tangent length 4/3 tan(angle/4), Riskus (2006), Approximation of
// a cubic Bezier curve by circular arcs and vice versa.
func pdfArc(b *strings.Builder, first bool, s vg.PathComp) vg.Point {
	point := func(a float64) (p, along vg.Point) {
		sin, cos := math.Sincos(a)
		r := s.Radius
		return s.Pos.Add(vg.Point{X: r * vg.Length(cos), Y: r * vg.Length(sin)}), vg.Point{X: -r * vg.Length(sin), Y: r * vg.Length(cos)}
	}
	n := int(max(1, math.Ceil(math.Abs(s.Angle)/(math.Pi/2)-1e-9)))
	step := s.Angle / float64(n)
	k := vg.Length(4. / 3 * math.Tan(step/4))
	p, along := point(s.Start)
	op := "l"
	if first {
		op = "m"
	}
	pdfOp(b, op, p)
	for i := range n {
		q, next := point(s.Start + step*float64(i+1))
		pdfOp(b, "c", p.Add(along.Scale(k)), q.Sub(next.Scale(k)), q)
		p, along = q, next
	}
	return p
}

// FillString writes text in UTF-8.
func (c *pdfCanvas) FillString(f font.Face, at vg.Point, s string) {
	if f.Font.Size <= 0 || s == "" {
		return
	}
	style := ""
	if f.Font.Weight >= xfont.WeightBold {
		style = "B"
	}
	c.doc.SetFont(pdf.Family, style, f.Font.Size.Points())
	r, g, b := shares(c.now().color)
	c.doc.SetTextColor(int(math.Round(r*255)), int(math.Round(g*255)), int(math.Round(b*255)))
	c.doc.Text(at.X.Points(), (c.height - at.Y).Points(), s)
}

// DrawImage fills rect with the image, its first row on top. The library sorts
// the images of a document by width alone, so that two of one width may change
// places between runs. So an image as wide as an earlier one gets extra columns,
// which lie outside rect and are clipped.
func (c *pdfCanvas) DrawImage(rect vg.Rectangle, img image.Image) {
	own := img.Bounds().Dx()
	if own == 0 {
		return
	}
	wide := own
	for c.doc.GetImageInfo(imageName(wide)) != nil {
		wide++
	}
	png, err := packed(widened(img, wide))
	if err != nil {
		c.doc.SetError(err)
		return
	}
	o := fpdf.ImageOptions{ImageType: "png"}
	c.doc.RegisterImageOptionsReader(imageName(wide), o, bytes.NewReader(png))
	size := rect.Size()
	c.write("q %.3f %.3f %.3f %.3f re W n", rect.Min.X.Points(), rect.Min.Y.Points(), size.X.Points(), size.Y.Points())
	c.doc.ImageOptions(imageName(wide), rect.Min.X.Points(), (c.height - rect.Max.Y).Points(),
		size.X.Points()*float64(wide)/float64(own), size.Y.Points(), false, o, 0, "")
	c.write("Q")
}

func imageName(wide int) string { return fmt.Sprintf("image %d pixels wide", wide) }

// widened returns an image with white columns added at its right. They are not
// transparent: the library would split off and pack the transparency by itself.
func widened(img image.Image, wide int) image.Image {
	from := img.Bounds()
	if wide == from.Dx() {
		return img
	}
	out := image.NewRGBA(image.Rect(0, 0, wide, from.Dy()))
	draw.Draw(out, out.Bounds(), image.White, image.Point{}, draw.Src)
	draw.Draw(out, image.Rect(0, 0, from.Dx(), from.Dy()), plain(img), from.Min, draw.Src)
	return out
}
