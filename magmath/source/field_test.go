package source

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

type fielder interface {
	Field(r3.Vec) r3.Vec
}

func samples() map[string]fielder {
	bent := []r3.Vec{{X: 60, Z: 40}, {X: -80, Y: -30, Z: 55}, {X: -280, Y: -120, Z: 60}}
	return map[string]fielder{
		"dipole":  Dipole{AtMM: r3.Vec{X: 110, Z: -10}, MomentAm2: r3.Vec{X: .03, Y: -.02, Z: .05}},
		"circuit": Circuit(bent, []r3.Vec{{X: -280, Y: -120, Z: 60}, {X: 60, Y: 40, Z: 40}}, 18),
		"pair":    Pair{PathMM: bent, GapMM: 12, CurrentA: 18, Across: r3.Vec{Z: 1, Y: .3}},
		"open":    Lead{PathMM: bent, CurrentA: -7},
	}
}

// numericJacobian is the central difference of four points, whose error is of
// fourth order in the step.
func numericJacobian(f func(r3.Vec) r3.Vec, p r3.Vec) magmath.Mat3 {
	const h = 0.2
	var j magmath.Mat3
	for c, e := range []r3.Vec{{X: h}, {Y: h}, {Z: h}} {
		near := r3.Sub(f(r3.Add(p, e)), f(r3.Sub(p, e)))
		far := r3.Sub(f(r3.Add(p, r3.Scale(2, e))), f(r3.Sub(p, r3.Scale(2, e))))
		d := r3.Scale(1/(12*h), r3.Sub(r3.Scale(8, near), far))
		j[0][c], j[1][c], j[2][c] = d.X, d.Y, d.Z
	}
	return j
}

func TestJacobianIsTheDerivative(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	d := Dipole{AtMM: r3.Vec{X: 110, Z: -10}, MomentAm2: r3.Vec{X: .03, Y: -.02, Z: .05}}
	for range 50 {
		p := r3.Vec{X: 600*rng.Float64() - 300, Y: 400*rng.Float64() - 200, Z: -100*rng.Float64() - 20}
		got, want := d.Jacobian(p), numericJacobian(d.Field, p)
		size := math.Sqrt(want.Mul(want.Transpose()).Trace())
		for i := range 3 {
			for k := range 3 {
				if math.Abs(got[i][k]-want[i][k]) > 1e-5*size {
					t.Fatalf("at %v: dB%d/dp%d is %v, want %v", p, i, k, got[i][k], want[i][k])
				}
			}
		}
	}
}

// div B = 0 everywhere, and curl B = 0 where no current flows and all
// circuits are closed (Maxwell's equations). The differences are of the
// field, not of the analytic gradient.
func TestFieldHasNoSourceAndNoCurl(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 1))
	for name, s := range samples() {
		for range 50 {
			p := r3.Vec{X: 600*rng.Float64() - 300, Y: 400*rng.Float64() - 200, Z: -100*rng.Float64() - 20}
			j := numericJacobian(s.Field, p)
			size := math.Sqrt(j.Mul(j.Transpose()).Trace())
			if math.Abs(j.Trace()) > 1e-5*size {
				t.Fatalf("%s at %v: divergence %v of a gradient of %v", name, p, j.Trace(), size)
			}
			curl := math.Abs(j[2][1]-j[1][2]) + math.Abs(j[0][2]-j[2][0]) + math.Abs(j[1][0]-j[0][1])
			if name == "open" {
				continue // not a circuit
			}
			if curl > 3e-5*size {
				t.Fatalf("%s at %v: curl %v of a gradient of %v", name, p, curl, size)
			}
		}
	}
}

// Ampere's law: the circulation around a conductor is mu0 I, and zero beside
// it. mu0 times 1 A is 400 pi microtesla millimetres.
func TestAmperesLaw(t *testing.T) {
	square := []r3.Vec{{X: -100, Y: -80}, {X: 100, Y: -80}, {X: 100, Y: 80, Z: 30}, {X: -100, Y: 80}, {X: -100, Y: -80}}
	l := Lead{PathMM: square, CurrentA: 3}
	around := func(center r3.Vec, radius float64) float64 {
		const n = 4000
		sum := 0.
		for i := range n {
			s, c := math.Sincos(2 * math.Pi * (float64(i) + .5) / n)
			p := r3.Add(center, r3.Vec{Y: radius * c, Z: radius * s})
			sum += r3.Dot(l.Field(p), r3.Vec{Y: -s, Z: c}) * 2 * math.Pi * radius / n
		}
		return sum
	}
	want := 400 * math.Pi * 3
	if got := around(r3.Vec{X: 10, Y: -75, Z: 4}, 25); math.Abs(got-want) > 1e-6*want {
		t.Errorf("circulation around the wire %v, want %v", got, want)
	}
	if got := around(r3.Vec{X: 10, Y: 0, Z: -70}, 25); math.Abs(got) > 1e-6*want {
		t.Errorf("circulation beside the wire %v, want 0", got)
	}
}

// A segment cut in two has the same field, and a pair falls as 1/r^2.
func TestLeadAddsUpAndPairFallsFaster(t *testing.T) {
	a, b := r3.Vec{X: -100, Y: 4}, r3.Vec{X: 300, Z: 30}
	mid := r3.Add(a, r3.Scale(.3, r3.Sub(b, a)))
	p := r3.Vec{X: 20, Y: 60, Z: -40}
	one, two := Lead{[]r3.Vec{a, b}, 5}.Field(p), Lead{[]r3.Vec{a, mid, b}, 5}.Field(p)
	if d := r3.Norm(r3.Sub(one, two)); d > 1e-12*r3.Norm(one) {
		t.Errorf("cut: %v and %v", one, two)
	}
	q := Pair{PathMM: []r3.Vec{{X: -1e5}, {X: 1e5}}, GapMM: 6, CurrentA: 10}
	ratio := r3.Norm(q.Field(r3.Vec{Z: -100})) / r3.Norm(q.Field(r3.Vec{Z: -200}))
	if math.Abs(ratio-4) > .01 {
		t.Errorf("twice as far: %v times weaker, want 4", ratio)
	}
	q.GapMM = 0
	if f := q.Field(r3.Vec{Z: -1}); f != (r3.Vec{}) {
		t.Errorf("twisted pair has a field: %v", f)
	}
}

func TestWhereFieldsAreUndefined(t *testing.T) {
	d := Dipole{MomentAm2: r3.Vec{X: 1}}
	l := Lead{PathMM: []r3.Vec{{X: -10}, {X: 10}}, CurrentA: 1}
	for name, f := range map[string]r3.Vec{
		"dipole": d.Field(r3.Vec{}), "wire": l.Field(r3.Vec{X: 3}), "end of wire": l.Field(r3.Vec{X: 10}),
	} {
		if !math.IsNaN(f.X) || !math.IsNaN(f.Y) || !math.IsNaN(f.Z) {
			t.Errorf("%s: %v, want NaN", name, f)
		}
	}
	if d.Jacobian(r3.Vec{}).Finite() || Basis(r3.Vec{}, r3.Vec{}).Finite() {
		t.Error("a gradient at the source is finite")
	}
	for name, f := range map[string]r3.Vec{
		"beyond the end": l.Field(r3.Vec{X: 20}), "no moment": Dipole{}.Field(r3.Vec{}), "no current": Lead{PathMM: l.PathMM}.Field(r3.Vec{}),
		"one point": Lead{PathMM: l.PathMM[:1], CurrentA: 1}.Field(r3.Vec{Y: 1}), "no path": Pair{GapMM: 5, CurrentA: 1}.Field(r3.Vec{}),
		"empty circuit": Circuit(nil, nil, 1).Field(r3.Vec{}),
	} {
		if f != (r3.Vec{}) {
			t.Errorf("%s: %v, want zero", name, f)
		}
	}
}

func TestPairAcrossIsAtRightAngles(t *testing.T) {
	for _, q := range []Pair{
		{PathMM: []r3.Vec{{}, {Z: 50}}},
		{PathMM: []r3.Vec{{}, {X: 50}, {}}},
		{PathMM: []r3.Vec{{}, {X: 50, Z: 3}}, Across: r3.Vec{X: 2, Z: 1}},
		{PathMM: []r3.Vec{{}, {X: 50}}, Across: r3.Vec{X: 9}},
	} {
		a := q.across()
		along := r3.Sub(q.PathMM[len(q.PathMM)-1], q.PathMM[0])
		if math.Abs(r3.Norm(a)-1) > 1e-12 || math.Abs(r3.Dot(a, along)) > 1e-9 {
			t.Errorf("%v: across %v", q, a)
		}
	}
}

func TestBasisIsTheDipole(t *testing.T) {
	d := Dipole{AtMM: r3.Vec{X: 5, Y: 3, Z: -8}, MomentAm2: r3.Vec{X: .1, Y: -.3, Z: .2}}
	p := r3.Vec{X: 60, Y: -40, Z: -30}
	if e := r3.Norm(r3.Sub(d.Field(p), Basis(d.AtMM, p).Apply(d.MomentAm2))); e > 1e-12*r3.Norm(d.Field(p)) {
		t.Errorf("off by %v", e)
	}
}

func BenchmarkPairField(b *testing.B) {
	l := Pair{PathMM: []r3.Vec{{X: 60, Z: 40}, {X: -280, Y: -120, Z: 60}}, GapMM: 12, CurrentA: 18}.Circuit()
	b.ReportAllocs()
	for b.Loop() {
		l.Field(r3.Vec{X: 10, Y: 20, Z: -26})
	}
}
