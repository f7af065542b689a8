package source

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// scanLimit bounds the places that a scan looks at.
const scanLimit = 4000

// Depths and heights of the places that a scan looks at, in spacings under
// the lowest and over the highest reading.
var (
	scanDepths  = []float64{0.2, 0.45, 0.8, 1.4, 2.3}
	scanHeights = []float64{0.3, 0.9, 1.8}
)

// Margins of the box in which an unnamed source is looked for, in spacings.
const (
	marginAside = 1.5
	marginBelow = 3
	marginAbove = 2.5
)

// spacingOf is the median distance from a reading to the nearest at another
// place; 60 mm where all are at one place.
func spacingOf(at []r3.Vec) float64 {
	var nearest []float64
	for i, p := range at {
		d := math.Inf(1)
		for j, q := range at {
			if v := r3.Norm(r3.Sub(p, q)); i != j && v > 1 {
				d = min(d, v)
			}
		}
		if !math.IsInf(d, 1) {
			nearest = append(nearest, d)
		}
	}
	if len(nearest) == 0 {
		return 60
	}
	slices.Sort(nearest)
	return nearest[len(nearest)/2]
}

// extent is the box of the readings.
func extent(at []r3.Vec) (low, high r3.Vec) {
	low, high = at[0], at[0]
	for _, p := range at {
		low = r3.Vec{X: min(low.X, p.X), Y: min(low.Y, p.Y), Z: min(low.Z, p.Z)}
		high = r3.Vec{X: max(high.X, p.X), Y: max(high.Y, p.Y), Z: max(high.Z, p.Z)}
	}
	return low, high
}

// box sets where an unnamed source may be.
func (p *problem) box(spacing float64) {
	low, high := extent(p.data.At)
	p.low = r3.Sub(low, r3.Scale(spacing, r3.Vec{X: marginAside, Y: marginAside, Z: marginAbove}))
	p.high = r3.Add(high, r3.Scale(spacing, r3.Vec{X: marginAside, Y: marginAside, Z: marginBelow}))
}

// nodes are the places that a scan looks at: at several depths and heights a
// grid of two thirds of the spacing, wider far from the readings, where a place need
// not be hit so well, and coarser where that would be too many.
func (p *problem) nodes(spacing float64) []r3.Vec {
	for coarse := 1.0; ; coarse *= 1.1 {
		if out := p.lattice(spacing, coarse); len(out) <= scanLimit {
			return out
		}
	}
}

func (p *problem) lattice(spacing, coarse float64) []r3.Vec {
	low, high := extent(p.data.At)
	var out []r3.Vec
	level := func(z, away float64) {
		step := coarse * max(0.62*spacing, 0.7*away)
		for y := p.low.Y; y <= p.high.Y+1e-9 && len(out) <= scanLimit; y += step {
			for x := p.low.X; x <= p.high.X+1e-9; x += step {
				out = append(out, r3.Vec{X: x, Y: y, Z: z})
			}
		}
	}
	for _, d := range scanDepths {
		level(high.Z+d*spacing, d*spacing)
	}
	for z := high.Z; z > low.Z+spacing/4; z -= spacing / 2 {
		level(z, 0)
	}
	for _, d := range scanHeights {
		level(low.Z-d*spacing, d*spacing)
	}
	return out
}
