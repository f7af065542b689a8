// Package sheet sets a document of a few plain kinds of block, once as an HTML
// page that needs nothing else and once as a PDF. Both show the same words and
// pictures in the same order; the same document gives the same bytes.
//
// It knows nothing of craft or fields: what a sheet says is the caller's.
package sheet

import (
	"time"

	"codeberg.org/go-pdf/fpdf"

	"quietmount/report/pdf"
)

// Document is what a sheet says, in order.
type Document struct {
	Title    string
	Subtitle string
	Foot     string // at the foot of each printed page
	Tool     string // that made it
	Dated    time.Time
	Paper    pdf.Paper // zero: A4
	Sections []Section
}

// Section is a part of the document under a heading of its own.
type Section struct {
	Title  string // empty: none
	Boxed  bool   // a frame around it
	Whole  bool   // on one page
	Blocks []Block
}

// Block is one of the kinds below.
type Block interface{ kind() string }

// Verdict is the answer, set large. Bad ones are told apart in form, not in
// colour alone.
type Verdict struct {
	Word, Sentence string
	Bad            bool
}

// Text is a paragraph; Lead is set bold before the rest.
type Text struct {
	Lead, Body string
	Small      bool
}

// List is a list of sentences.
type List struct{ Items []string }

// Facts are named values.
type Facts struct{ Rows []Fact }

// Fact is a named value.
type Fact struct{ Name, Value string }

// Table has a head that is repeated on each printed page.
type Table struct {
	Columns []Column
	Rows    []Row
	Dense   bool // a long table of numbers
}

// Column is a column of a table: what it holds, and in what unit.
type Column struct {
	Name, Unit string
	Words      bool // words stand left and may be broken; numbers stand right
	Code       bool // long strings without blanks, set small and broken anywhere
}

// Row is a row of a table. Remark stands under it, across the table.
type Row struct {
	Cells  []string
	Strong bool
	Remark string
}

// Picture is a finished drawing. Lengths are points.
type Picture interface {
	Size() (width, height float64)
	SVG() (string, error) // an svg element, its texts escaped
	PaintPDF(doc *fpdf.Fpdf, x, y, scale float64) error
}

// Pictures stand side by side, as many in a row as Across, each as wide as it
// fits but no larger than drawn.
type Pictures struct {
	Across int // zero: 1
	Items  []Picture
}

// Blanks are lines to be filled in by hand.
type Blanks struct{ Names []string }

// Frames are places to stick photographs on, side by side.
type Frames struct{ Captions []string }

func (Verdict) kind() string  { return "verdict" }
func (Text) kind() string     { return "text" }
func (List) kind() string     { return "list" }
func (Facts) kind() string    { return "facts" }
func (Table) kind() string    { return "table" }
func (Pictures) kind() string { return "pictures" }
func (Blanks) kind() string   { return "blanks" }
func (Frames) kind() string   { return "frames" }
