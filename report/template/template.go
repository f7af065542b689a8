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

// Options steer Write.
type Options struct {
	Side  Side
	Paper pdf.Paper // zero: A4
	Date  time.Time // stamped into the file
	Tool  string    // version, for the overview
	// OverviewOnly leaves the tiles out.
	OverviewOnly bool
}

// Write writes the template as PDF: an overview, then the tiles row by row.
// The same craft and options give the same bytes. It fails with ErrSide,
// ErrNoStations or ErrTooLarge (wrapped).
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

// drawing is a template in the making.
type drawing struct {
	pdf      *fpdf.Fpdf
	c        *survey.Craft
	l        *Layout
	o        Options
	letters  *pdf.Letters
	stations []mark
	cut      []string // names that did not fit
	lacking  bool     // a letter had to be replaced
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
