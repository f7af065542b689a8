// Package sheet sets a document as an HTML page in one file (HTML) and as a PDF
// (PDF). In comes a Document of sections and blocks; both outputs show the same
// words and pictures in the same order, and the same document gives the same bytes.
// The package knows nothing of craft or fields: the caller decides what a sheet
// says.
//
// Start reading at Document in this file. html.go fills the HTML template; press.go
// has the pages of the PDF, blocks.go and table.go its blocks, flow.go its lines of
// text.
package sheet

import (
	"time"

	"codeberg.org/go-pdf/fpdf"

	"quietmount/report/pdf"
)

// Document is the content of a sheet, in order.
type Document struct {
	Title    string
	Subtitle string
	Foot     string // at the foot of each printed page
	Tool     string // that made it
	Dated    time.Time
	Paper    pdf.Paper // zero: A4
	Sections []Section
}

// Section is a part of the document under one heading.
type Section struct {
	Title  string // empty: none
	Boxed  bool   // in a frame
	Whole  bool   // not broken across pages
	Blocks []Block
}

// Block is one of the kinds below.
type Block interface{ kind() string }

// Verdict is the answer in large type. A bad one differs in form, not in colour
// alone.
type Verdict struct {
	Word, Sentence string
	Bad            bool
}

// Text is a paragraph. Lead comes first, in bold.
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

// Table is a table whose head is repeated on each printed page.
type Table struct {
	Columns []Column
	Rows    []Row
	Dense   bool // a long table of numbers
}

// Column is the heading of a table's column, with its unit.
type Column struct {
	Name, Unit string
	Words      bool // set left and broken between words; numbers are set right, unbroken
	Code       bool // long strings without spaces, set small and broken anywhere
}

// Row is a row of a table. Remark is set under it, across the table.
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

// Pictures are set side by side, Across in a row, reduced to fit but never
// enlarged.
type Pictures struct {
	Across int // zero: 1
	Items  []Picture
}

// Blanks are lines to fill in by hand.
type Blanks struct{ Names []string }

// Frames are places for photographs, side by side.
type Frames struct{ Captions []string }

func (Verdict) kind() string  { return "verdict" }
func (Text) kind() string     { return "text" }
func (List) kind() string     { return "list" }
func (Facts) kind() string    { return "facts" }
func (Table) kind() string    { return "table" }
func (Pictures) kind() string { return "pictures" }
func (Blanks) kind() string   { return "blanks" }
func (Frames) kind() string   { return "frames" }
