package plane

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// lShape is an L: 100 by 100 less the 60 by 60 at large x and large y. Its
// area is 10000 - 3600 = 6400.
func lShape() Polygon {
	return Polygon{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 40}, {X: 40, Y: 40}, {X: 40, Y: 100}, {X: 0, Y: 100}}
}

func TestPolygonMeasures(t *testing.T) {
	p := lShape()
	if err := p.Check(); err != nil {
		t.Fatal(err)
	}
	if p.area() != 6400 {
		t.Errorf("area %g, want 6400", p.area())
	}
	if b := p.Bounds(); b != r2.NewBox(0, 0, 100, 100) {
		t.Errorf("bounds %v", b)
	}
	for _, test := range []struct {
		at       r2.Vec
		inside   bool
		distance float64
	}{
		{r2.Vec{X: 20, Y: 20}, true, 20},
		{r2.Vec{X: 70, Y: 70}, false, 30},
		{r2.Vec{X: 100, Y: 40}, true, 0}, // a corner
		{r2.Vec{X: 40, Y: 40}, true, 0},  // the inner corner
		{r2.Vec{X: 40, Y: 70}, true, 0},  // on an edge
		{r2.Vec{X: 100.005, Y: 20}, true, 0.005},
		{r2.Vec{X: 100.02, Y: 20}, false, 0.02},
		{r2.Vec{X: -30, Y: -40}, false, 50}, // 3-4-5 from the corner
		{r2.Vec{X: 35, Y: 35}, true, math.Sqrt(50)},
		{r2.Vec{X: math.NaN(), Y: 5}, false, math.NaN()},
	} {
		if got := p.Contains(test.at); got != test.inside {
			t.Errorf("contains %v: %v", test.at, got)
		}
		if got := p.Distance(test.at); math.Abs(got-test.distance) > 1e-9 {
			t.Errorf("distance of %v: %g, want %g", test.at, got, test.distance)
		}
	}
	var none Polygon
	if none.Contains(r2.Vec{}) || none.area() != 0 || !math.IsInf(none.Distance(r2.Vec{}), 1) || none.Bounds() != (r2.Box{}) {
		t.Error("no points enclose something")
	}
}

// The area by Contains alone, counted over a fine grid of middles, must be the
// shoelace area.
func TestPolygonContainsAgreesWithArea(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 0))
	for range 20 {
		p := star(rng, 3+rng.IntN(12))
		box, n, in := p.Bounds(), 200, 0
		step := r2.Scale(1/float64(n), box.Size())
		for i := range n {
			for j := range n {
				if p.Contains(r2.Vec{X: box.Min.X + (float64(i)+0.5)*step.X, Y: box.Min.Y + (float64(j)+0.5)*step.Y}) {
					in++
				}
			}
		}
		got := float64(in) * step.X * step.Y
		// Cells on the edge are the error: at most about the perimeter times half a cell.
		if area := p.area(); math.Abs(got-area) > 0.02*box.Size().X*box.Size().Y {
			t.Errorf("counted %g, area %g", got, area)
		}
	}
}

// star is a polygon around the origin whose points stand in the order of
// their angle, so that it cannot cross itself.
func star(rng *rand.Rand, n int) Polygon {
	var p Polygon
	for i := range n {
		angle := 2 * math.Pi * (float64(i) + 0.8*rng.Float64()) / float64(n)
		radius := 20 + 80*rng.Float64()
		p = append(p, r2.Vec{X: radius * math.Cos(angle), Y: radius * math.Sin(angle)})
	}
	return p
}

func TestPolygonCheck(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 0))
	for range 200 {
		if p := star(rng, 4+rng.IntN(30)); p.Check() != nil {
			t.Errorf("a star is refused: %v: %v", p.Check(), p)
		}
	}
	for _, test := range []struct {
		name  string
		p     Polygon
		point int
		want  string
	}{
		{"nothing", nil, 0, "three points"},
		{"not finite", Polygon{{}, {X: 1}, {Y: math.Inf(1)}}, 2, "finite"},
		{"minus zero", Polygon{{}, {X: 9}, {Y: 9}, {X: math.Copysign(0, -1)}}, 3, "same"},
		{"a point on another edge", Polygon{{X: 0}, {X: 100}, {X: 100, Y: 100}, {X: 50, Y: 0}, {Y: 100}}, 2, "meets"},
		{"an edge along another", Polygon{{}, {X: 100}, {X: 100, Y: 50}, {X: 80, Y: 50}, {X: 80, Y: 0}, {X: 20, Y: 0}, {X: 20, Y: 50}, {Y: 50}}, 3, "meets"},
		{"doubled back at the seam", Polygon{{X: 100}, {X: 50, Y: 50}, {X: 0}, {X: 150}}, 2, "meets"},
	} {
		err := test.p.Check()
		bad, ok := errors.AsType[*Error](err)
		if !ok || bad.Point != test.point || !strings.Contains(bad.Msg, test.want) {
			t.Errorf("%s: %+v, want %q at %d", test.name, bad, test.want, test.point)
		}
	}
}

// Near a line of many close points only exact arithmetic tells the sides
// apart: the classic example has points a few units in the last place off the
// diagonal from (12, 12) to (24, 24).
// Source: L. Kettner et al., Classroom examples of robustness problems in
// geometric computations, Computational Geometry 40 (2008) 61-78, figure 2.
func TestTurnIsExact(t *testing.T) {
	b, c := r2.Vec{X: 12, Y: 12}, r2.Vec{X: 24, Y: 24}
	const ulp = 0x1p-53
	for i := range 64 {
		for j := range 64 {
			a := r2.Vec{X: 0.5 + float64(i)*ulp, Y: 0.5 + float64(j)*ulp}
			// Exactly, (ax-24)(12-24) - (ay-24)(12-24) = 12 (ay - ax).
			want := sign(a.Y - a.X)
			if got := turn(a, b, c); got != want {
				t.Fatalf("turn at %d, %d: %d, want %d", i, j, got, want)
			}
		}
	}
}

func TestBoxInPolygon(t *testing.T) {
	p := lShape()
	for _, test := range []struct {
		name               string
		box                r2.Box
		contains, overlaps bool
	}{
		{"inside", r2.NewBox(5, 5, 35, 35), true, true},
		{"along the edges", r2.NewBox(0, 0, 100, 40), true, true},
		{"around the inner corner", r2.NewBox(20, 20, 60, 60), false, true},
		{"in the notch", r2.NewBox(50, 50, 90, 90), false, false},
		{"filling the notch", r2.NewBox(40, 40, 100, 100), false, false},
		{"over the whole", r2.NewBox(-10, -10, 110, 110), false, true},
		{"far away", r2.NewBox(200, 0, 210, 10), false, false},
		{"touching from outside", r2.NewBox(100, 0, 120, 40), false, false},
		{"corners in, notch across", r2.NewBox(10, 10, 39, 90), true, true},
		{"a point inside", r2.NewBox(20, 20, 20, 20), true, true},
		{"a point on the edge", r2.NewBox(40, 70, 40, 70), true, false},
		{"a point outside", r2.NewBox(70, 70, 70, 70), false, false},
	} {
		if got := p.ContainsBox(test.box); got != test.contains {
			t.Errorf("%s: contains %v", test.name, got)
		}
		if got := p.OverlapsBox(test.box); got != test.overlaps {
			t.Errorf("%s: overlaps %v", test.name, got)
		}
	}
	// A slot narrower than the box, between its corners.
	slot := Polygon{{X: 0, Y: 0}, {X: 100, Y: 0}, {X: 100, Y: 100}, {X: 55, Y: 100}, {X: 55, Y: 20}, {X: 45, Y: 20}, {X: 45, Y: 100}, {X: 0, Y: 100}}
	if slot.ContainsBox(r2.NewBox(30, 30, 70, 70)) {
		t.Error("a box lies across a slot")
	}
}

// Against brute force: points all over the box.
func TestBoxInPolygonAgreesWithPoints(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 0))
	for range 300 {
		p := star(rng, 3+rng.IntN(8))
		middle := r2.Vec{X: 160*rng.Float64() - 80, Y: 160*rng.Float64() - 80}
		half := r2.Vec{X: 20 * rng.Float64(), Y: 20 * rng.Float64()}
		box := r2.Box{Min: r2.Sub(middle, half), Max: r2.Add(middle, half)}
		in, all := 0, 0
		for i := range 41 {
			for j := range 41 {
				all++
				if p.Contains(r2.Vec{X: box.Min.X + box.Size().X*float64(i)/40, Y: box.Min.Y + box.Size().Y*float64(j)/40}) {
					in++
				}
			}
		}
		if p.ContainsBox(box) && in < all {
			t.Errorf("box %v is said to be inside, %d of %d points are", box, in, all)
		}
		if !p.OverlapsBox(box) && in > 0 {
			t.Errorf("box %v is said to be outside, %d of %d points are inside", box, in, all)
		}
		// The other way points can miss a sliver, not the bulk.
		if !p.ContainsBox(box) && in == all && p.Distance(middle) > 40 {
			t.Errorf("box %v is said not to be inside", box)
		}
	}
}

func TestBoxDistances(t *testing.T) {
	b := r2.NewBox(0, 0, 10, 20)
	for q, want := range map[r2.Vec]float64{
		{X: 5, Y: 5}: 0, {X: 10, Y: 20}: 0, {X: 13, Y: 5}: 3, {X: -3, Y: -4}: 5, {X: 5, Y: 27}: 7,
	} {
		if got := BoxDistance(b, q); got != want {
			t.Errorf("distance of %v: %g, want %g", q, got, want)
		}
	}
	for _, test := range []struct {
		a, c r2.Vec
		want float64
	}{
		{r2.Vec{X: -5, Y: 10}, r2.Vec{X: 15, Y: 10}, 0},
		{r2.Vec{X: 14, Y: -50}, r2.Vec{X: 14, Y: 50}, 4},
		{r2.Vec{X: 20, Y: 0}, r2.Vec{X: 0, Y: -20}, 10 / math.Sqrt2}, // the corner (10, 0) from the line x - y = 20
		{r2.Vec{X: 13, Y: 24}, r2.Vec{X: 100, Y: 24}, 5},
	} {
		if got := BoxSegmentDistance(b, test.a, test.c); math.Abs(got-test.want) > 1e-12 {
			t.Errorf("distance of %v to %v: %g, want %g", test.a, test.c, got, test.want)
		}
	}
}

// area is the enclosed area, square millimetres, never negative (the
// shoelace formula).
func (p Polygon) area() float64 {
	sum := 0.0
	for i := range p {
		j := (i + 1) % len(p)
		sum += r2.Cross(r2.Sub(p[i], p[0]), r2.Sub(p[j], p[0]))
	}
	return math.Abs(sum) / 2
}

func TestPolygonReach(t *testing.T) {
	p := Polygon{{X: 200, Y: -100}, {X: 200, Y: 100}, {X: -200, Y: 100}, {X: -200, Y: -100}}
	for _, c := range []struct {
		from, toward r2.Vec
		want         float64
	}{
		{r2.Vec{}, r2.Vec{X: 1}, 200},
		{r2.Vec{X: 50, Y: 10}, r2.Vec{Y: -1}, 110},
		{r2.Vec{X: 300}, r2.Vec{X: 1}, 0},
	} {
		if got := p.Reach(c.from, c.toward); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("from %v toward %v: %v, want %v", c.from, c.toward, got, c.want)
		}
	}
}
