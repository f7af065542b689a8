package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// The area between two parallels of a unit sphere is 2 pi times their distance
// along the axis (Archimedes, On the Sphere and Cylinder), so that each cell has
// 4 pi / Cells.
func TestCellBoundsAreThoseOfCell(t *testing.T) {
	for cell := range Cells {
		zUp, zLow, from, to := CellBounds(cell)
		if area := (zUp - zLow) * (to - from); math.Abs(area-4*math.Pi/Cells) > 1e-12 {
			t.Errorf("cell %d has the area %g", cell, area)
		}
		for _, share := range []float64{0.001, 0.5, 0.999} {
			z, phi := zUp+share*(zLow-zUp), from+share*(to-from)
			rho := math.Sqrt(1 - z*z)
			if got := Cell(r3.Vec{X: rho * math.Cos(phi), Y: rho * math.Sin(phi), Z: z}); got != cell {
				t.Errorf("within the bounds of cell %d lies cell %d", cell, got)
			}
		}
	}
}

// What allRound says of a hemisphere seen without a gap.
func TestAHemisphereEntersMoreThanHalfOfTheCells(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 0))
	direction := func() r3.Vec { return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()} }
	least, most := 1.0, 0.0
	for range 60 {
		axis := direction()
		var c Coverage
		for range 20_000 {
			if d := direction(); r3.Dot(d, axis) > 0 {
				c.Add(d)
			}
		}
		least, most = min(least, c.Fraction()), max(most, c.Fraction())
	}
	if least < 0.56 || least > 0.59 || most < 0.63 || most > 0.66 {
		t.Errorf("a hemisphere enters %.3f to %.3f of the cells", least, most)
	}
}

func TestProgressTellsWhereTheFieldIs(t *testing.T) {
	var p Progress
	if _, ok := p.Now(); ok {
		t.Error("a direction before any reading")
	}
	offset := r3.Vec{X: 20, Y: -5, Z: 8}
	for i := range Cells {
		p.Add(r3.Add(offset, r3.Scale(50, CellDirection(i))))
	}
	want := CellDirection(30)
	p.Add(r3.Add(offset, r3.Scale(50, want)))
	got, ok := p.Now()
	if !ok || angle(got, want) > 0.1 || math.Abs(r3.Norm(got)-1) > 1e-12 {
		t.Errorf("now %v, want %v", got, want)
	}
}
