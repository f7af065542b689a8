package template

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/draw"
	"quietmount/report/pdf"
	"quietmount/survey"
)

// Side is the side of the craft for which a template is.
type Side string

// The sides.
const (
	Top       Side = "top"
	Underside Side = "underside"
)

// Errors of Lay and Write that callers distinguish.
var (
	ErrSide       = errors.New("a template is for the top or the underside")
	ErrNoStations = errors.New("the craft file has no stations to print: lay a [grid] or name some [[station]]")
	ErrTooLarge   = errors.New("the template would be too large")
)

// The measures of a page, millimetres. Most printers reach to 5 mm from the edge of
// the paper (common practice, no source).
const (
	edge    = 12.0 // around the tile: what joins to what is written there
	strip   = 24.0 // under the tile, for the ruler and the page's name
	overlap = 10.0 // of neighbouring tiles
	around  = 8.0  // margin around what must be seen
)

// mostPages is the largest number of pages of a template.
const mostPages = 400

// Layout is the distribution of a craft over pages.
type Layout struct {
	side          Side
	paper         pdf.Paper
	min, max      r2.Vec  // of what must be seen, u and v
	wide, high    float64 // of a tile
	Rows, Columns int
	from          r2.Vec // upper left corner of the first tile
}

// Lay distributes a craft over tiles. It returns ErrSide, ErrNoStations or
// ErrTooLarge, wrapped.
func Lay(c *survey.Craft, side Side, paper pdf.Paper) (*Layout, error) {
	if side != Top && side != Underside {
		return nil, fmt.Errorf("%q: %w", side, ErrSide)
	}
	if len(c.Stations()) == 0 {
		return nil, ErrNoStations
	}
	l := &Layout{side: side, paper: paper, wide: paper.Width - 2*edge, high: paper.Height - 2*edge - strip}
	l.min, l.max = l.bounds(c)
	size := r2.Sub(l.max, l.min)
	columns, rows := tiles(size.X, l.wide), tiles(size.Y, l.high)
	if !(columns*rows <= mostPages) {
		return nil, fmt.Errorf("%w: %.0f by %.0f mm are more than %d pages", ErrTooLarge, size.X, size.Y, mostPages)
	}
	l.Columns, l.Rows = int(columns), int(rows)
	whole := r2.Vec{X: columns*(l.wide-overlap) + overlap, Y: rows*(l.high-overlap) + overlap}
	l.from = r2.Sub(l.min, r2.Scale(0.5, r2.Sub(whole, size)))
	return l, nil
}

// tiles returns the number of tiles over a length, as a float so that it cannot
// overflow.
func tiles(length, tile float64) float64 {
	return max(1, math.Ceil((length-overlap)/(tile-overlap)-1e-9))
}

// Paper returns the place on the joined paper of a place on the craft.
func (l *Layout) Paper(p r2.Vec) r2.Vec {
	if l.side == Underside {
		return r2.Vec{X: -p.Y, Y: -p.X}
	}
	return r2.Vec{X: p.Y, Y: -p.X}
}

// bounds returns the box on the joined paper around outline, stations, parts, leads,
// datum and the start of the cable, with a margin.
func (l *Layout) bounds(c *survey.Craft) (low, high r2.Vec) {
	box := draw.Extent(c)
	a, b := l.Paper(r2.Vec{X: min(box.Min.X, 0), Y: min(box.Min.Y, 0)}), l.Paper(r2.Vec{X: max(box.Max.X, 0), Y: max(box.Max.Y, 0)})
	return r2.Vec{X: min(a.X, b.X) - around, Y: min(a.Y, b.Y) - around}, r2.Vec{X: max(a.X, b.X) + around, Y: max(a.Y, b.Y) + around}
}

// Tile is one page's piece of the joined paper.
type Tile struct {
	Row, Column int // from 1
	Min, Max    r2.Vec
}

// Tile returns the tile of a row and a column, counted from 0.
func (l *Layout) Tile(row, column int) Tile {
	low := r2.Add(l.from, r2.Vec{X: float64(column) * (l.wide - overlap), Y: float64(row) * (l.high - overlap)})
	return Tile{row + 1, column + 1, low, r2.Add(low, r2.Vec{X: l.wide, Y: l.high})}
}

// Name returns the name of a page: row and column number.
func (t Tile) Name() string { return pageName(t.Row, t.Column) }

func pageName(row, column int) string { return fmt.Sprintf("%d-%d", row, column) }

// holds reports whether the tile shows a place on the joined paper.
func (t Tile) holds(p r2.Vec) bool {
	return p.X >= t.Min.X && p.X <= t.Max.X && p.Y >= t.Min.Y && p.Y <= t.Max.Y
}

// Owner returns row and column, from 0, of the tile that names what lies at a place
// of the joined paper: where tiles overlap, the one with the nearer middle.
func (l *Layout) Owner(p r2.Vec) (row, column int) {
	index := func(at, step float64, n int) int {
		return min(max(int(math.Floor((at-overlap/2)/step)), 0), n-1)
	}
	d := r2.Sub(p, l.from)
	return index(d.Y, l.high-overlap, l.Rows), index(d.X, l.wide-overlap, l.Columns)
}
