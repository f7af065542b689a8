package draw

import (
	"fmt"
	"io"

	"codeberg.org/go-pdf/fpdf"
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

// Size is the picture's width and height in points.
func (p *Picture) Size() (width, height float64) { return p.Width.Points(), p.Height.Points() }
