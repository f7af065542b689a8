// Package pdf starts the PDF files of the packages above it: page size, regular and
// bold of one font with UTF-8 text, a date that the caller gives, the same bytes for
// the same content. In comes a page size, out goes an empty document (New); Letters
// knows which letters its font has.
package pdf

import (
	"bytes"
	"fmt"
	"time"

	"codeberg.org/go-fonts/liberation/liberationsansbold"
	"codeberg.org/go-fonts/liberation/liberationsansregular"
	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
)

// Family is the font family of every document, in the styles "" and "B".
const Family = "liberation"

// New returns a document without a page. Width and height are those of a page in the
// unit, "mm" or "pt". A zero date becomes the start of 1970, because without a date
// the library would take that of the clock.
func New(width, height float64, unit string, date time.Time) (*fpdf.Fpdf, error) {
	doc := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: unit, Size: fpdf.SizeType{Wd: width, Ht: height}})
	if date.IsZero() {
		date = time.Unix(0, 0).UTC()
	}
	doc.SetCatalogSort(true)
	doc.SetCreationDate(date)
	doc.SetModificationDate(date)
	doc.SetLang("en")
	doc.SetMargins(0, 0, 0)
	doc.SetAutoPageBreak(false, 0)
	doc.AddUTF8FontFromBytes(Family, "", bytes.Clone(liberationsansregular.TTF))
	doc.AddUTF8FontFromBytes(Family, "B", bytes.Clone(liberationsansbold.TTF))
	if err := doc.Error(); err != nil {
		return nil, fmt.Errorf("begin a pdf: %w", err)
	}
	return doc, nil
}

// NoGlyph stands for a letter that the font lacks.
const NoGlyph = '□'

// Letters knows the letters that the font has.
type Letters struct {
	font   *sfnt.Font
	buffer sfnt.Buffer
}

// NewLetters reads the font.
func NewLetters() (*Letters, error) {
	font, err := sfnt.Parse(liberationsansregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("read the font: %w", err)
	}
	return &Letters{font: font}, nil
}

// Printable replaces letters that the font lacks, control characters, and letters
// above U+FFFF (which the library cannot write) by NoGlyph. It reports in whole
// whether it replaced nothing.
func (l *Letters) Printable(s string) (out string, whole bool) {
	letters, whole := make([]rune, 0, len(s)), true
	for _, r := range s {
		if i, err := l.font.GlyphIndex(&l.buffer, r); err != nil || i == 0 || r < ' ' || r > 0xffff {
			r, whole = NoGlyph, false
		}
		letters = append(letters, r)
	}
	return string(letters), whole
}
