package survey

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func TestSurfaceDegenerate(t *testing.T) {
	for _, test := range []struct {
		name   string
		points []r3.Vec
		at     r2.Vec
		want   float64
	}{
		{"no points", nil, r2.Vec{X: 5, Y: 7}, -20},
		{"one point", []r3.Vec{{X: 1, Y: 2, Z: 3}}, r2.Vec{X: 5, Y: 7}, 3},
		{"two points, between", []r3.Vec{{X: 0, Y: 0, Z: 10}, {X: 100, Y: 0, Z: 30}}, r2.Vec{X: 25, Y: 50}, 15},
		{"two points, beyond", []r3.Vec{{X: 0, Y: 0, Z: 10}, {X: 100, Y: 0, Z: 30}}, r2.Vec{X: 400, Y: 50}, 30},
		{"a line of three", []r3.Vec{{X: 0, Y: 100, Z: 5}, {X: 0, Y: -100, Z: 5}, {X: 0, Y: 0, Z: -5}}, r2.Vec{X: 9, Y: 50}, 0},
		{"the same place twice", []r3.Vec{{Z: 1}, {Z: 2}}, r2.Vec{X: 5}, 1},
	} {
		if got := NewSurface(test.points, -20).Z(test.at.X, test.at.Y); math.Abs(got-test.want) > 1e-12 {
			t.Errorf("%s: %g, want %g", test.name, got, test.want)
		}
	}
}

// surfacePoints are points at random, on a square lattice (where every
// diagonal is a tie) and crowded on lines.
func surfacePoints(rng *rand.Rand, n int) []r3.Vec {
	points := make([]r3.Vec, n)
	for i := range points {
		points[i] = r3.Vec{X: 100 * rng.Float64(), Y: 100 * rng.Float64(), Z: 10 * rng.NormFloat64()}
		switch n % 3 {
		case 1:
			points[i].X, points[i].Y = math.Floor(points[i].X/20)*20, math.Floor(points[i].Y/20)*20
		case 2:
			if i%2 == 0 {
				points[i].Y = points[i].X/3 + 10
			}
		}
	}
	return points
}

func TestSurfaceRunsThroughItsPoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	for round := range 60 {
		s := NewSurface(surfacePoints(rng, 3+round), 0)
		low, high := math.Inf(1), math.Inf(-1)
		for _, p := range s.points {
			if got := s.Z(p.X, p.Y); math.Abs(got-p.Z) > 1e-9 {
				t.Fatalf("round %d: %g at a point with z %g", round, got, p.Z)
			}
			low, high = min(low, p.Z), max(high, p.Z)
		}
		for range 50 {
			if z := s.Z(300*rng.Float64()-100, 300*rng.Float64()-100); !(z >= low-1e-9 && z <= high+1e-9) {
				t.Fatalf("round %d: z %g leaves %g to %g", round, z, low, high)
			}
		}
	}
}

// A tilted plane is reproduced within the hull, whatever the triangles.
func TestSurfaceOfAPlane(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 0))
	points := surfacePoints(rng, 40)
	points = append(points, r3.Vec{}, r3.Vec{X: 100}, r3.Vec{Y: 100}, r3.Vec{X: 100, Y: 100})
	for i, p := range points {
		points[i].Z = 3 - 0.2*p.X + 0.05*p.Y
	}
	s := NewSurface(points, 0)
	for range 200 {
		x, y := 100*rng.Float64(), 100*rng.Float64()
		if got, want := s.Z(x, y), 3-0.2*x+0.05*y; math.Abs(got-want) > 1e-9 {
			t.Fatalf("z(%g, %g) = %g, want %g", x, y, got, want)
		}
	}
}
