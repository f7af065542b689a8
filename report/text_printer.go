package report

import (
	"fmt"
	"io"
)

// printer writes lines until the first error and keeps that.
type printer struct {
	w   io.Writer
	err error
}

// newPrinter prints to w.
func newPrinter(w io.Writer) *printer { return &printer{w: w} }

// failed is the first error of writing, nil while there was none.
func (p *printer) failed() error { return p.err }

// line prints a line as fmt.Printf does.
func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

// sayer takes sentences: a printer, or what keeps them.
type sayer interface{ sentence(s string) }

// collected keeps sentences.
type collected []string

func (c *collected) sentence(s string) { *c = append(*c, s) }

// sentence prints a sentence folded to the width of a text answer, later lines
// indented under the first.
func (p *printer) sentence(s string) {
	for i, l := range fold(s, textColumns-2) {
		if i > 0 {
			l = "  " + l
		}
		p.line("%s", l)
	}
}
