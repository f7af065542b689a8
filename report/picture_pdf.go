package report

import (
	"fmt"
	"io"
	"time"
)

func (p *Picture) writePDF(w io.Writer) error {
	c, err := newPDFCanvas(p.width, p.height)
	if err != nil {
		return err
	}
	stamp := p.dated
	if stamp.IsZero() {
		stamp = time.Unix(0, 0).UTC() // the library would ask the clock
	}
	c.doc.SetCreationDate(stamp)
	c.doc.SetModificationDate(stamp)
	c.doc.SetTitle(p.title, true)
	c.doc.SetSubject(p.desc, true)
	c.doc.SetLang("en")
	if err := p.drawing.ReplayOn(c); err != nil {
		return fmt.Errorf("draw pdf: %w", err)
	}
	if err := c.doc.Output(w); err != nil {
		return fmt.Errorf("draw pdf: %w", err)
	}
	return nil
}
