package plane

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// scattered are points at random, on a square lattice (where every
// diagonal is a tie) and crowded on lines.
func scattered(rng *rand.Rand, n int) []r3.Vec {
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

// The triangles must tile the hull: their areas are positive and add up to
// the hull's, and every circle is empty (Delaunay's own criterion).
func TestTriangulateTilesTheHull(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 0))
	for round := range 60 {
		pts, triangles, rim := Triangulate(scattered(rng, 3+round))
		sum := 0.0
		for _, tri := range triangles {
			a, b, c := flat(pts[tri[0]]), flat(pts[tri[1]]), flat(pts[tri[2]])
			if turn(a, b, c) <= 0 {
				t.Fatalf("round %d: a triangle is turned over or flat", round)
			}
			sum += r2.Cross(r2.Sub(b, a), r2.Sub(c, a)) / 2
			centre, radius := circle(a, b, c)
			for _, p := range pts {
				if d := r2.Norm(r2.Sub(flat(p), centre)); d < radius*(1-1e-6) {
					t.Fatalf("round %d: a point lies %g inside a circle of %g", round, radius-d, radius)
				}
			}
		}
		var hull Polygon
		for _, e := range rim {
			hull = append(hull, flat(pts[e[0]]))
		}
		if area := hull.area(); len(triangles) > 0 && math.Abs(area-sum) > 1e-9*area {
			t.Errorf("round %d: triangles %g, hull %g", round, sum, area)
		}
		for _, p := range pts {
			if !hull.Contains(flat(p)) && len(triangles) > 0 {
				t.Errorf("round %d: %v lies outside the hull", round, p)
			}
		}
	}
}

// circle is the circle through three points.
func circle(a, b, c r2.Vec) (r2.Vec, float64) {
	b, c = r2.Sub(b, a), r2.Sub(c, a)
	d := 2 * r2.Cross(b, c)
	u := r2.Vec{X: (c.Y*r2.Norm2(b) - b.Y*r2.Norm2(c)) / d, Y: (b.X*r2.Norm2(c) - c.X*r2.Norm2(b)) / d}
	return r2.Add(a, u), r2.Norm(u)
}
