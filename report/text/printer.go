package text

import (
	"fmt"
	"io"
)

// Printer writes lines until the first error, which Err returns.
type Printer struct {
	w   io.Writer
	err error
}

// NewPrinter returns a printer that writes to w.
func NewPrinter(w io.Writer) *Printer { return &Printer{w: w} }

// Err returns the first error of writing, or nil.
func (p *Printer) Err() error { return p.err }

// Line prints a formatted line, as fmt.Printf does.
func (p *Printer) Line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

// Table prints a table.
func (p *Printer) Table(t Table) {
	for _, l := range t.Lines() {
		p.Line("%s", l)
	}
}

// Sayer takes sentences: a Printer prints them, Sentences keeps them.
type Sayer interface{ Sentence(s string) }

// Sentences is a list of sentences.
type Sentences []string

// Sentence appends s.
func (c *Sentences) Sentence(s string) { *c = append(*c, s) }

// Sentence prints s folded to the width of a text answer, later lines indented.
func (p *Printer) Sentence(s string) {
	for i, l := range fold(s, Columns-2) {
		if i > 0 {
			l = "  " + l
		}
		p.Line("%s", l)
	}
}
