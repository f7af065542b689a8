package text

import (
	"fmt"
	"io"
)

// Printer writes lines until the first error and keeps that.
type Printer struct {
	w   io.Writer
	err error
}

// NewPrinter prints to w.
func NewPrinter(w io.Writer) *Printer { return &Printer{w: w} }

// Err is the first error of writing, nil while there was none.
func (p *Printer) Err() error { return p.err }

// Line prints a line as fmt.Printf does.
func (p *Printer) Line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

// Sayer takes sentences: a printer, or what keeps them.
type Sayer interface{ Sentence(s string) }

// Sentences keeps sentences.
type Sentences []string

// Sentence keeps one more.
func (c *Sentences) Sentence(s string) { *c = append(*c, s) }

// Sentence prints a sentence folded to the width of a text answer, later lines
// indented under the first.
func (p *Printer) Sentence(s string) {
	for i, l := range fold(s, Columns-2) {
		if i > 0 {
			l = "  " + l
		}
		p.Line("%s", l)
	}
}
