// Package template prints the stations of a craft at true scale on pages that are
// joined to one sheet, to be taped to the craft or to a board over it. In come a
// craft and Options, out goes a PDF: an overview with advice, then the tiles.
//
// On paper u runs to the right and v down, in millimetres. Seen from above, nose up,
// u is the craft's y and v its -x. On the underside of an overturned craft left and
// right are exchanged: u is -y. Words are never mirrored, and LEFT and RIGHT are
// always those of the craft.
//
// Start reading at Write in this file; layout.go distributes the craft over tiles,
// page.go draws a tile, marks.go stations and landmarks, overview.go the first page,
// ink.go lines and words; spot.go the glue template of one spot.
package template

import (
	"bytes"
	"fmt"
	"io"
	"time"

	"codeberg.org/go-pdf/fpdf"

	"quietmount/report/pdf"
	"quietmount/survey"
)

// Options choose what Write prints.
type Options struct {
	Side  Side
	Paper pdf.Paper // zero: A4
	Date  time.Time // of the file
	Tool  string    // version, for the overview
	// OverviewOnly leaves the tiles out.
	OverviewOnly bool
}

// Write writes the template as PDF: an overview, then the tiles row by row. The same
// craft and options give the same bytes. It returns ErrSide, ErrNoStations or
// ErrTooLarge, wrapped.
func Write(w io.Writer, c *survey.Craft, o Options) error {
	if o.Paper == (pdf.Paper{}) {
		o.Paper = pdf.A4()
	}
	l, err := Lay(c, o.Side, o.Paper)
	if err != nil {
		return err
	}
	d, err := newDrawing(c, l, o)
	if err != nil {
		return err
	}
	d.overview()
	if !o.OverviewOnly {
		for row := range l.Rows {
			for column := range l.Columns {
				d.page(l.Tile(row, column))
			}
		}
	}
	var b bytes.Buffer
	if err := d.pdf.Output(&b); err != nil {
		return fmt.Errorf("template: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// drawing is the state of drawing one template.
type drawing struct {
	pdf      *fpdf.Fpdf
	c        *survey.Craft
	l        *Layout
	o        Options
	letters  *pdf.Letters
	stations []mark
	cut      []string // names that did not fit
	lacking  bool     // the font lacked a letter
}

func newDrawing(c *survey.Craft, l *Layout, o Options) (*drawing, error) {
	p, err := pdf.New(o.Paper.Width, o.Paper.Height, "mm", o.Date)
	if err != nil {
		return nil, fmt.Errorf("template: %w", err)
	}
	p.SetTitle(c.Name+": station template, "+string(o.Side), true)
	p.SetCreator("quietmount "+o.Tool, true)
	letters, err := pdf.NewLetters()
	if err != nil {
		return nil, fmt.Errorf("template: %w", err)
	}
	d := &drawing{pdf: p, c: c, l: l, o: o, letters: letters}
	d.marks()
	return d, nil
}
