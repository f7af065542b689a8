// Package draw is what pictures are drawn with: a pen and a page of paper, the
// craft seen from above, keys, colours, and the finished picture as PNG, SVG or
// PDF. What a picture shows is decided above it.
//
// A craft stands nose up, at one scale. On paper x runs to the right and y
// upwards from the lower left corner, in points.
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

// ErrFormat says that a picture cannot be written in the format asked for.
var ErrFormat = errors.New("a picture is written as png, svg or pdf")

// Picture is a drawing. Once finished it can be written any number of times, in
// any format, and gives the same bytes each time.
type Picture struct {
	Dated         time.Time // stamped into formats that want a date
	Narrow        bool      // laid out for the screen of a phone
	Width, Height vg.Length
	Frame         Frame        // where the craft stands
	Panels        []Frame      // where it stands again and again, if it does
	Bar           vg.Rectangle // where the colour bar stands; empty: none

	title, desc string
	drawing     recorder.Canvas
	layout      []string // what was decided while drawing, a line each
}

// New is an empty picture with its title and its text alternative.
func New(title, desc string) *Picture { return &Picture{title: title, desc: desc} }

// Title is the picture's title, Description its text alternative.
func (p *Picture) Title() string { return p.title }

// Description says in words what the picture shows.
func (p *Picture) Description() string { return p.desc }

// Write writes the picture.
func (p *Picture) Write(w io.Writer, f Format) error {
	switch f {
	case PNG:
		return p.writePNG(w)
	case SVG:
		return p.writeSVG(w)
	case PDF:
		return p.writePDF(w)
	}
	return fmt.Errorf("%q: %w", f, ErrFormat)
}

// Note keeps a line of the layout.
func (p *Picture) Note(format string, args ...any) {
	p.layout = append(p.layout, fmt.Sprintf(format, args...))
}

// Layout is what was decided while drawing, a line each: for a test to compare.
func (p *Picture) Layout() []string { return p.layout }
