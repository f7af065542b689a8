// Package draw has the means to draw pictures: a pen, a page with head and legend,
// the craft seen from above, labels that keep apart, colours, and output as PNG,
// SVG or PDF. In come places in millimetres of the craft frame; out goes a
// Picture. What a picture shows is decided by package picture.
//
// The craft is drawn nose up at one scale. On paper x runs to the right and y
// upwards from the lower left corner, in points.
//
// Start reading at Picture (picture.go), Pen (pen.go), and Page and Frame
// (frame.go).
package draw

import (
	"errors"
	"fmt"
	"io"
	"time"

	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/recorder"
)

// Format is a picture's file format.
type Format string

// The formats.
const (
	PNG Format = "png"
	SVG Format = "svg"
	PDF Format = "pdf"
)

// errFormat says that a picture cannot be written in the format asked for.
var errFormat = errors.New("a picture is written as png, svg or pdf")

// Picture is a drawing. It can be written any number of times, in any format, and
// gives the same bytes each time.
type Picture struct {
	Dated         time.Time // stamped into formats that want a date
	Narrow        bool      // laid out for the screen of a phone
	Width, Height vg.Length
	Frame         Frame        // the place of the craft; of the first panel, if there are several
	Panels        []Frame      // its places in a picture of several small maps
	Bar           vg.Rectangle // the place of the colour bar; empty: none

	title, desc string
	drawing     recorder.Canvas
	layout      []string // what was decided while drawing, a line each
}

// New returns an empty picture with its title and its text alternative.
func New(title, desc string) *Picture { return &Picture{title: title, desc: desc} }

// Title returns the picture's title.
func (p *Picture) Title() string { return p.title }

// Description returns the picture's text alternative.
func (p *Picture) Description() string { return p.desc }

// Write writes the picture; it returns an error for an unknown format.
func (p *Picture) Write(w io.Writer, f Format) error {
	switch f {
	case PNG:
		return p.writePNG(w)
	case SVG:
		return p.writeSVG(w)
	case PDF:
		return p.writePDF(w)
	}
	return fmt.Errorf("%q: %w", f, errFormat)
}

// Note adds a line to the layout.
func (p *Picture) Note(format string, args ...any) {
	p.layout = append(p.layout, fmt.Sprintf(format, args...))
}

// Layout returns what was decided while drawing, one line each, for tests.
func (p *Picture) Layout() []string { return p.layout }
