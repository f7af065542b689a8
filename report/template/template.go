package template

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"

	"quietmount/survey"
)

// Options steer Write.
type Options struct {
	Side  Side
	Paper Paper     // zero: A4
	Date  time.Time // stamped into the file
	Tool  string    // version, for the overview
	// OverviewOnly leaves the tiles out.
	OverviewOnly bool
}

// Write writes the template as PDF: an overview, then the tiles row by row.
// The same craft and options give the same bytes. It fails with ErrSide,
// ErrNoStations or ErrTooLarge (wrapped).
func Write(w io.Writer, c *survey.Craft, o Options) error {
	if o.Paper == (Paper{}) {
		o.Paper = A4()
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
	font     *sfnt.Font
	buffer   sfnt.Buffer
	stations []mark
	cut      []string // names that did not fit
	lacking  bool     // a letter had to be replaced
}

const family = "liberation"

func newDrawing(c *survey.Craft, l *Layout, o Options) (*drawing, error) {
	p := fpdf.NewCustom(&fpdf.InitType{
		OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: o.Paper.Width, Ht: o.Paper.Height},
	})
	p.SetCatalogSort(true)
	p.SetCreationDate(o.Date)
	p.SetModificationDate(o.Date)
	p.SetAutoPageBreak(false, 0)
	p.SetMargins(0, 0, 0)
	p.SetTitle(c.Name+": station template, "+string(o.Side), true)
	p.SetCreator("quietmount "+o.Tool, true)
	p.AddUTF8FontFromBytes(family, "", bytes.Clone(liberationsansregular.TTF))
	p.AddUTF8FontFromBytes(family, "B", bytes.Clone(liberationsansbold.TTF))
	font, err := sfnt.Parse(liberationsansregular.TTF)
	if err := errors.Join(err, p.Error()); err != nil {
		return nil, fmt.Errorf("template: %w", err)
	}
	d := &drawing{pdf: p, c: c, l: l, o: o, font: font}
	d.marks()
	return d, nil
}

// noGlyph stands for a letter that the font lacks.
const noGlyph = '□'

// printable replaces letters that the font lacks, and says whether it had to.
func (d *drawing) printable(s string) (string, bool) {
	out, whole := make([]rune, 0, len(s)), true
	for _, r := range s {
		if i, err := d.font.GlyphIndex(&d.buffer, r); err != nil || i == 0 || r < ' ' || r > 0xffff {
			r, whole = noGlyph, false
		}
		out = append(out, r)
	}
	return string(out), whole
}
