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
