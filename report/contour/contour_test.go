package contour

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
)

// latticeOf samples a function on nx by ny nodes over a box.
func latticeOf(nx, ny int, x0, y0, x1, y1 float64, f func(x, y float64) float64) *Lattice {
	l := &Lattice{X0: x0, Y0: y0, DX: (x1 - x0) / float64(nx-1), DY: (y1 - y0) / float64(ny-1), NX: nx, NY: ny}
	for j := range ny {
		for i := range nx {
			p := l.Place(i, j)
			l.V = append(l.V, f(p.X, p.Y))
		}
	}
	return l
}

// The contour of a cone is a circle: closed, of the right length, the high
// side to the left.
func TestContourOfACone(t *testing.T) {
	l := latticeOf(81, 61, -4, -3, 4, 3, func(x, y float64) float64 { return 10 - math.Hypot(x, y) })
	lines := l.Lines(8)
	if len(lines) != 1 {
		t.Fatalf("%d lines, want 1", len(lines))
	}
	c := lines[0]
	if c[0] != c[len(c)-1] {
		t.Errorf("the line does not close: %v, %v", c[0], c[len(c)-1])
	}
	length, turned := 0.0, 0.0
	for i := 1; i < len(c); i++ {
		length += r2.Norm(r2.Sub(c[i], c[i-1]))
		turned += r2.Cross(c[i-1], c[i]) / 2
		if r := r2.Norm(c[i]); math.Abs(r-2) > 0.002 { // half the sagitta of a cell
			t.Fatalf("%v lies %v from the middle, want 2", c[i], r)
		}
	}
	if math.Abs(length-4*math.Pi) > 0.01 {
		t.Errorf("length %v, want %v", length, 4*math.Pi)
	}
	if math.Abs(turned-4*math.Pi) > 0.02 { // counterclockwise: the top lies to the left
		t.Errorf("encloses %v, want %v", turned, 4*math.Pi)
	}
}

// A slope's contour ends on the rim; no line where the level is not reached.
func TestContourOpen(t *testing.T) {
	l := latticeOf(5, 4, 0, 0, 4, 3, func(x, y float64) float64 { return x })
	lines := l.Lines(1.25)
	if len(lines) != 1 || len(lines[0]) != 4 {
		t.Fatalf("lines %v", lines)
	}
	for _, p := range lines[0] {
		if p.X != 1.25 {
			t.Errorf("%v, want x 1.25", p)
		}
	}
	if first, last := lines[0][0].Y, lines[0][3].Y; math.Abs(first-last) != 3 {
		t.Errorf("runs from %v to %v", first, last)
	}
	if got := l.Lines(9); got != nil {
		t.Errorf("a level that is nowhere gives %v", got)
	}
}

// At a saddle two lines keep apart and do not cross, the middle deciding which
// corners they cut off.
func TestContourSaddle(t *testing.T) {
	for _, c := range []struct {
		name  string
		v     []float64
		level float64
	}{
		{"high middle", []float64{9, 0, 0, 9}, 4},
		{"low middle", []float64{9, 0, 0, 9}, 5},
		{"high middle, other corners", []float64{0, 9, 9, 0}, 4},
		{"low middle, other corners", []float64{0, 9, 9, 0}, 5},
	} {
		l := &Lattice{DX: 1, DY: 1, NX: 2, NY: 2, V: c.v}
		lines := l.Lines(c.level)
		if len(lines) != 2 {
			t.Fatalf("%s: %d lines", c.name, len(lines))
		}
		middle := r2.Vec{X: 0.5, Y: 0.5}
		high := (c.v[0]+c.v[1]+c.v[2]+c.v[3])/4 >= c.level
		for _, line := range lines {
			a, b := line[0], line[1]
			left := r2.Cross(r2.Sub(b, a), r2.Sub(middle, a)) > 0
			if left != high { // the high side is on the left
				t.Errorf("%s: %v leaves the middle on its wrong side", c.name, line)
			}
		}
	}
}

// Every crossed edge is used by one line once, on a field of many hills.
func TestContourUsesEachEdgeOnce(t *testing.T) {
	l := latticeOf(60, 47, 0, 0, 9, 7, func(x, y float64) float64 { return math.Sin(2.1*x)*math.Cos(1.7*y) + 0.3*math.Sin(5*x*y) })
	for _, level := range []float64{-0.4, 0, 0.35} {
		crossed := 0
		for j := range l.NY {
			for i := range l.NX {
				here := l.At(i, j) >= level
				if i+1 < l.NX && here != (l.At(i+1, j) >= level) {
					crossed++
				}
				if j+1 < l.NY && here != (l.At(i, j+1) >= level) {
					crossed++
				}
			}
		}
		points := 0
		for _, line := range l.Lines(level) {
			points += len(line)
			if line[0] == line[len(line)-1] {
				points--
			}
		}
		if points != crossed {
			t.Errorf("level %v: %d points on lines, %d edges crossed", level, points, crossed)
		}
	}
}

// Refining keeps the nodes and is exact for a parabola away from the rim.
// Source: Keys (1981): cubic convolution reproduces second-degree polynomials.
func TestRefined(t *testing.T) {
	f := func(x, y float64) float64 { return 2 + x - 3*y + 0.5*x*x - x*y + 2*y*y }
	l := latticeOf(9, 7, -2, 1, 2, 4, f)
	fine := l.Refined(5)
	if fine.NX != 41 || fine.NY != 31 {
		t.Fatalf("%d by %d nodes", fine.NX, fine.NY)
	}
	for j := 5; j <= 25; j++ {
		for i := 5; i <= 35; i++ {
			p := fine.Place(i, j)
			if got, want := fine.At(i, j), f(p.X, p.Y); math.Abs(got-want) > 1e-9 {
				t.Fatalf("at %v: %v, want %v", p, got, want)
			}
		}
	}
	for j := range l.NY {
		for i := range l.NX {
			if got, want := fine.At(5*i, 5*j), l.At(i, j); math.Abs(got-want) > 1e-12 {
				t.Fatalf("node %d, %d: %v, want %v", i, j, got, want)
			}
		}
	}
}

func TestBilinear(t *testing.T) {
	l := latticeOf(4, 3, 0, 0, 3, 2, func(x, y float64) float64 { return x + 10*y + x*y })
	for _, c := range []struct{ x, y, want float64 }{{0.25, 0.5, 5.375}, {3, 2, 29}, {0, 0, 0}, {-5, 1, 10}, {9, 9, 29}} {
		if got := l.Bilinear(c.x, c.y); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("at %v, %v: %v, want %v", c.x, c.y, got, c.want)
		}
	}
}
