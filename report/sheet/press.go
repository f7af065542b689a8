package sheet

import (
	"bytes"
	"fmt"

	"codeberg.org/go-pdf/fpdf"

	"quietmount/report/pdf"
)

// Measures of the page and of its type, points.
const (
	sideMargin = 40.0
	topMargin  = 38.0
	footMargin = 46.0

	bodySize  = 9.2
	smallSize = 8.0
	tableSize = 7.8
	codeSize  = 6.4
	leading   = 1.34 // of a line, in sizes
	gap       = 5.0  // between blocks
	whole     = 150  // a section no higher is not broken
)

// Greys, 0 black to 255 white.
const (
	black = 0
	soft  = 80
	rule  = 185
	tint  = 243
)

// PDF is the document as a PDF file.
func PDF(d Document) ([]byte, error) {
	p, err := newPress(d)
	if err != nil {
		return nil, fmt.Errorf("sheet: %w", err)
	}
	p.title()
	for _, s := range d.Sections {
		p.section(s)
	}
	p.feet()
	var b bytes.Buffer
	if err := p.doc.Output(&b); err != nil {
		return nil, fmt.Errorf("sheet: %w", err)
	}
	return b.Bytes(), nil
}

// press is the state of setting one document, page by page. Lengths are points from
// the upper left corner of a page.
type press struct {
	d       Document
	doc     *fpdf.Fpdf
	scale   *fpdf.Fpdf // a document without a page, to measure words
	letters *pdf.Letters
	lacking bool // the font lacked a letter

	x, wide, low float64 // left edge and width of the text, and its lower end on a page
	y            float64 // where the next line begins
	dry          bool    // only measure
}

func newPress(d Document) (*press, error) {
	if d.Paper == (pdf.Paper{}) {
		d.Paper = pdf.A4()
	}
	const point = 72 / 25.4 // a millimetre
	w, h := d.Paper.Width*point, d.Paper.Height*point
	p := &press{d: d, x: sideMargin, wide: w - 2*sideMargin, low: h - footMargin}
	for _, made := range []**fpdf.Fpdf{&p.doc, &p.scale} {
		var err error
		if *made, err = pdf.New(w, h, "pt", d.Dated); err != nil {
			return nil, err
		}
	}
	p.doc.SetTitle(d.Title+": record sheet", true)
	p.doc.SetCreator(d.Tool, true)
	var err error
	p.letters, err = pdf.NewLetters()
	p.newPage()
	return p, err
}

// newPage begins a page, unless only measuring.
func (p *press) newPage() {
	if p.dry {
		return
	}
	p.doc.AddPage()
	p.y = topMargin
}

// fresh reports whether the page is empty.
func (p *press) fresh() bool { return p.y <= topMargin+0.01 }

// need begins a new page unless a height fits on this one.
func (p *press) need(high float64) {
	if !p.dry && p.y+high > p.low && !p.fresh() {
		p.newPage()
	}
}

// measured returns the height that set takes on one page.
func (p *press) measured(set func()) float64 {
	dry, y := p.dry, p.y
	p.dry = true
	set()
	high := p.y - y
	p.dry, p.y = dry, y
	return high
}

// inset calls set with the text indented at left and right.
func (p *press) inset(left, right float64, set func()) {
	p.x, p.wide = p.x+left, p.wide-left-right
	set()
	p.x, p.wide = p.x-left, p.wide+left+right
}

func (p *press) title() {
	p.flow(20, 23, black, run{text: p.d.Title, bold: true})
	p.flow(bodySize, bodySize*leading, soft, run{text: p.d.Subtitle})
	p.y += 8
}

// section sets a section, its heading on one page with what follows.
func (p *press) section(s Section) {
	if s.Boxed {
		p.boxed(s)
		return
	}
	set := func() {
		if s.Title != "" {
			p.heading(s.Title)
		}
		for _, b := range s.Blocks {
			p.block(b)
		}
	}
	if high := p.measured(set); s.Whole || high < whole {
		p.need(high)
	} else {
		p.need(30 + p.beginning(s.Blocks))
	}
	set()
}

func (p *press) heading(title string) {
	if !p.fresh() {
		p.y += 9
	}
	p.bookmark(title)
	p.line(p.x, p.y, p.x+p.wide, 1.4, black)
	p.y += 5
	p.flow(11.5, 15, black, run{text: title, bold: true})
	p.y += 3
}

func (p *press) bookmark(title string) {
	if p.dry {
		return
	}
	printed, _ := p.letters.Printable(title)
	p.doc.SetFont(pdf.Family, "B", bodySize)
	p.doc.Bookmark(printed, 0, p.y)
}

// boxed sets a section in a frame, on one page if it fits.
func (p *press) boxed(s Section) {
	const inner = 10
	set := func() {
		p.y += 7
		p.inset(inner, inner, func() {
			if s.Title != "" {
				p.bookmark(s.Title)
				p.flow(11.5, 15, black, run{text: s.Title, bold: true})
				p.y += 2
			}
			for _, b := range s.Blocks {
				p.block(b)
			}
		})
		p.y += 3
	}
	p.y += 10
	high := p.measured(set)
	p.need(high)
	top, page := p.y, p.doc.PageNo()
	set()
	if !p.dry && p.doc.PageNo() == page {
		p.frame(p.x, top, p.wide, p.y-top, 1.4)
	}
	p.y += gap
}

// feet writes the foot of each page, when their number is known.
func (p *press) feet() {
	n := p.doc.PageCount()
	for i := 1; i <= n; i++ {
		p.doc.SetPage(i)
		y := p.low + 22
		p.line(p.x, y-9, p.x+p.wide, 0.5, rule)
		number := fmt.Sprintf("page %d of %d", i, n)
		p.put(p.x+p.wide-p.width(number, 7.5, false), y, 7.5, soft, false, number)
		p.put(p.x, y, 7.5, soft, false, p.cut(p.d.Foot, 7.5, p.wide-90))
		if p.lacking {
			p.put(p.x, y+10, 7.5, soft, false, string(pdf.NoGlyph)+" stands for a letter that the font of this print lacks; the HTML sheet shows it.")
		}
	}
}

// line draws a horizontal line.
func (p *press) line(x, y, to, width float64, grey int) {
	if p.dry {
		return
	}
	p.doc.SetLineWidth(width)
	p.doc.SetDrawColor(grey, grey, grey)
	p.doc.Line(x, y, to, y)
}

func (p *press) frame(x, y, w, h, width float64, dashes ...float64) {
	if p.dry {
		return
	}
	p.doc.SetLineWidth(width)
	p.doc.SetDrawColor(black, black, black)
	p.doc.SetDashPattern(append([]float64{}, dashes...), 0)
	p.doc.Rect(x, y, w, h, "D")
	p.doc.SetDashPattern([]float64{}, 0)
}

func (p *press) fill(x, y, w, h float64, grey int) {
	if p.dry {
		return
	}
	p.doc.SetFillColor(grey, grey, grey)
	p.doc.Rect(x, y, w, h, "F")
}
