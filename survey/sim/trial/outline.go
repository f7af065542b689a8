package trial

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// outlineOf returns the family's outline, millimetres.
func outlineOf(f Family) []r2.Vec {
	switch f {
	case Plate:
		out := make([]r2.Vec, 8)
		for i := range out {
			s, c := math.Sincos(math.Pi/8 + float64(i)*math.Pi/4)
			out[i] = r2.Vec{X: math.Round(178 * c), Y: math.Round(178 * s)}
		}
		return out
	case Wing:
		return []r2.Vec{{X: 110, Y: 0}, {X: 80, Y: 120}, {X: -30, Y: 460}, {X: -140, Y: 460}, {X: -110, Y: 0}, {X: -140, Y: -460}, {X: -30, Y: -460}, {X: 80, Y: -120}}
	case Fuselage:
		return []r2.Vec{{X: 320, Y: -25}, {X: 320, Y: 25}, {X: 250, Y: 50}, {X: -320, Y: 50}, {X: -320, Y: -50}, {X: 250, Y: -50}}
	}
	return []r2.Vec{{X: 350, Y: -80}, {X: 350, Y: 80}, {X: 250, Y: 180}, {X: -350, Y: 180}, {X: -350, Y: -180}, {X: 250, Y: -180}}
}

// inside draws a point of the outline.
func (g *generator) inside() r2.Vec {
	lo, hi := g.outline[0], g.outline[0]
	for _, p := range g.outline {
		lo, hi = r2.Vec{X: min(lo.X, p.X), Y: min(lo.Y, p.Y)}, r2.Vec{X: max(hi.X, p.X), Y: max(hi.Y, p.Y)}
	}
	for {
		p := r2.Vec{X: g.between(lo.X, hi.X), Y: g.between(lo.Y, hi.Y)}
		if contains(g.outline, p) {
			return p
		}
	}
}

// contains reports whether p is inside poly, by the even-odd rule.
func contains(poly []r2.Vec, p r2.Vec) bool {
	in := false
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		if (a.Y > p.Y) != (b.Y > p.Y) && p.X < a.X+(p.Y-a.Y)/(b.Y-a.Y)*(b.X-a.X) {
			in = !in
		}
	}
	return in
}

// under draws a point inside the outline, near to far mm under the surface.
func (g *generator) under(near, far float64) r3.Vec {
	p := g.inside()
	return r3.Vec{X: p.X, Y: p.Y, Z: g.surface + g.between(near, far)}
}
