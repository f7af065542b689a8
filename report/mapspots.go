package report

import (
	"fmt"
	"math"

	"gonum.org/v1/plot/vg"

	"quietmount/survey/findings"
)

// spotMarks numbers the ranked spots and draws how precisely each must be hit.
func (m *mapping) spotMarks() {
	g := m.page
	for i := len(m.spots) - 1; i >= 0; i-- { // the best one last, on top
		s := m.spots[i]
		if !m.hasHeight(s) {
			continue
		}
		at := g.frame.at(flat(s.At))
		if r := s.PlacementToleranceMM * g.frame.scale; r > 0 && !math.IsInf(r, 0) {
			g.ring(at, r, white, 2.4)
			g.ring(at, r, black, 0.9, 4, 2)
		}
	}
	for i := len(m.spots) - 1; i >= 0; i-- {
		s := m.spots[i]
		at := g.frame.at(flat(s.At))
		if m.hasHeight(s) {
			spotMark(g.pen, at, fmt.Sprint(s.Rank), s.Rank == 1)
		} else {
			otherHeightMark(g.pen, at, fmt.Sprint(s.Rank))
		}
		g.labels.takeAround(at, 7.5)
		g.pic.note("spot %d at %.0f, %.0f", s.Rank, at.X.Points(), at.Y.Points())
	}
}

// hasHeight reports whether a spot stands at the height of the map.
func (m *mapping) hasHeight(s findings.Spot) bool { return math.Abs(s.HeightMM-m.height) < 0.5 }

// otherHeightMark is for a spot whose place, but not whose height, is that of
// the map.
func otherHeightMark(p *pen, at vg.Point, number string) {
	p.disc(at, 6.6, white, white, 0)
	p.disc(at, 5.4, white, black, 1)
	p.text(at, number, style{size: 7.5, left: 0.5, low: 0.5})
}

func spotMark(p *pen, at vg.Point, number string, best bool) {
	radius, size := 6.0, 8.5
	if best {
		radius, size = 7.2, 10
	}
	p.disc(at, radius, black, white, 1.4)
	p.text(at, number, style{size: size, bold: true, ink: white, left: 0.5, low: 0.5})
}
