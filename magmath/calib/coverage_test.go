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
		least, most = min(least, c.fraction()), max(most, c.fraction())
	}
	if least < 0.56 || least > 0.59 || most < 0.63 || most > 0.66 {
		t.Errorf("a hemisphere enters %.3f to %.3f of the cells", least, most)
	}
}

// Every cell has the same area: uniform directions fall evenly, within five
// standard deviations of the binomial.
func TestCellsHaveEqualArea(t *testing.T) {
	rng := testRNG(1)
	const n = 200000
	var count [Cells]int
	for range n {
		count[Cell(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})]++
	}
	want, sd := float64(n)/Cells, math.Sqrt(float64(n)/Cells)
	for i, c := range count {
		if math.Abs(float64(c)-want) > 5*sd {
			t.Errorf("cell %d: %d of %.0f +- %.0f", i, c, want, sd)
		}
		if got := Cell(CellDirection(i)); got != i {
			t.Errorf("the middle of cell %d lies in cell %d", i, got)
		}
	}
	for _, v := range []r3.Vec{{}, {X: math.NaN()}, {Z: 1}, {Z: -1}, {X: -1}, {Y: -1e-300}, {X: 1e308, Y: 1e308}} {
		if c := Cell(v); c < 0 || c >= Cells {
			t.Errorf("%v lies in cell %d", v, c)
		}
	}
}

// Of several, the gap is the farthest from what was seen.
func TestGap(t *testing.T) {
	var c Coverage
	for i := range Cells {
		if CellDirection(i).X < 0.3 {
			c.Add(CellDirection(i))
		}
	}
	u, ok := c.gap(r3.Vec{Z: 1})
	if !ok || u.X < 0.85 {
		t.Errorf("the gap about +x is at %.2f", u)
	}
	for i := range Cells {
		c.Add(CellDirection(i))
	}
	if _, ok := c.gap(r3.Vec{Z: 1}); ok || c.fraction() != 1 {
		t.Errorf("a gap in a full sphere, covered %.2f", c.fraction())
	}
}
