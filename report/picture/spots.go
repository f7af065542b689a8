package picture

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"

	"quietmount/report/draw"
	"quietmount/survey/rank"
)

// spotMarks draws the ranked spots with their ranks and placement tolerances.
func (m *mapping) spotMarks() {
	g := m.page
	for i := len(m.spots) - 1; i >= 0; i-- { // the best one last, on top
		s := m.spots[i]
		if !m.hasHeight(s) {
			continue
		}
		at := g.Frame.At(draw.Flat(s.At))
		if r := s.PlacementToleranceMM * g.Frame.Scale; r > 0 && !math.IsInf(r, 0) {
			g.Ring(at, r, draw.White, 2.4)
			toleranceRing(g.Pen, at, r)
		}
	}
	for i := len(m.spots) - 1; i >= 0; i-- {
		s := m.spots[i]
		at := g.Frame.At(draw.Flat(s.At))
		if m.hasHeight(s) {
			spotMark(g.Pen, at, fmt.Sprint(s.Rank), s.Rank == 1)
		} else {
			otherHeightMark(g.Pen, at, fmt.Sprint(s.Rank))
		}
		g.Labels.TakeAround(at, 7.5)
		g.Picture.Note("spot %d at %.0f, %.0f", s.Rank, at.X.Points(), at.Y.Points())
	}
}

// hasHeight reports whether a spot stands at the height of the map.
func (m *mapping) hasHeight(s rank.Spot) bool { return math.Abs(s.HeightMM-m.height) < 0.5 }

// toleranceRing draws the placement tolerance of a spot.
func toleranceRing(p *draw.Pen, at vg.Point, radius float64) {
	p.Ring(at, radius, draw.Black, 0.9, 4, 2)
}

// otherHeightMark marks a spot at another mounting height than the map's.
func otherHeightMark(p *draw.Pen, at vg.Point, number string) {
	p.Disc(at, 6.6, draw.White, draw.White, 0)
	p.Disc(at, 5.4, draw.White, draw.Black, 1)
	p.Text(at, number, draw.Style{Size: 7.5, Left: 0.5, Low: 0.5})
}

// spotMark marks a spot by its rank, the best one larger.
func spotMark(p *draw.Pen, at vg.Point, number string, best bool) {
	radius, size := 6.0, 8.5
	if best {
		radius, size = 7.2, 10
	}
	p.Disc(at, radius, draw.Black, draw.White, 1.4)
	p.Text(at, number, draw.Style{Size: size, Bold: true, Ink: draw.White, Left: 0.5, Low: 0.5})
}
