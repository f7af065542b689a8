package siting

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.Abs(got-want) > tol || math.IsNaN(got) != math.IsNaN(want) {
		t.Errorf("%s: %g, want %g", what, got, want)
	}
}

func TestLay(t *testing.T) {
	g := Lay(r2.Vec{X: -100, Y: -40}, r2.Vec{X: 100, Y: 41}, 8, 6000)
	if g.NX != 26 || g.NY != 11 {
		t.Errorf("%d by %d nodes, want 26 by 11", g.NX, g.NY)
	}
	last := g.At(g.Len() - 1)
	near(t, "symmetric in x", g.From.X+last.X, 0, 1e-9)
	near(t, "symmetric in y", g.From.Y+last.Y, 1, 1e-9)
	big := Lay(r2.Vec{}, r2.Vec{X: 4000, Y: 3000}, 8, 6000)
	if big.Len() > 6000 || big.Len() < 4000 {
		t.Errorf("a large craft has %d nodes", big.Len())
	}
	if g := Lay(r2.Vec{X: 5, Y: 5}, r2.Vec{X: 5, Y: 5}, math.NaN(), -1); g.Len() != 1 || g.At(0) != (r2.Vec{X: 5, Y: 5}) {
		t.Errorf("a point: %+v", g)
	}
}

func TestScreenCountsWhatEachConstraintTakes(t *testing.T) {
	g := Lay(r2.Vec{}, r2.Vec{X: 90}, 10, 100) // ten nodes in a row
	left, reach := ConstraintName{Kind: "left"}, ConstraintName{Kind: "reach"}
	cs := []Constraint{
		{left, func(p Place) bool { return p.At.X > 15 }},             // takes 0, 10
		{reach, func(p Place) bool { return p.At.X+p.HeightMM < 85 }}, // takes 90 at both heights, 50..90 at the upper
	}
	all, excluded := Screen(g, []float64{0, 40}, func(r2.Vec) bool { return true }, cs)
	if len(all) != 20 {
		t.Fatalf("%d candidates, want 20", len(all))
	}
	near(t, "left", excluded[left], 0.2, 1e-12)
	near(t, "reach", excluded[reach], 0.1, 1e-12)
	free := 0
	for _, c := range all {
		if len(c.Broken) == 0 {
			free++
		}
	}
	if free != 7+3 {
		t.Errorf("%d free candidates, want 10", free)
	}
}

func TestCableLength(t *testing.T) {
	// 3-4-5 triangles: 50 to the first point, 100 to the spot, 20 up.
	got := CableLength(r2.Vec{}, []r2.Vec{{X: 30, Y: 40}}, Place{r2.Vec{X: 90, Y: 120}, 20})
	near(t, "cable", got, 170, 1e-12)
}

// bowl has two lows: 1 at (20, 20), 2 at (80, 20).
func bowl(p r2.Vec) float64 {
	return min(1+0.001*r2.Norm2(r2.Sub(p, r2.Vec{X: 20, Y: 20})), 2+0.001*r2.Norm2(r2.Sub(p, r2.Vec{X: 80, Y: 20})))
}

func TestOptimaFindsBothLows(t *testing.T) {
	g := Lay(r2.Vec{}, r2.Vec{X: 100, Y: 40}, 4, 10000)
	all, _ := Screen(g, []float64{0, 30}, func(r2.Vec) bool { return true }, nil)
	cost, allowed := make([]float64, len(all)), []int{}
	for i, c := range all {
		cost[i] = bowl(c.At) + c.HeightMM // higher is worse here
		allowed = append(allowed, i)
	}
	cost[7] = math.NaN()
	got := Optima(g, all, allowed, cost, 30, 0, 10)
	if len(got) != 2 {
		t.Fatalf("%d optima, want 2", len(got))
	}
	near(t, "first", r2.Norm(r2.Sub(all[got[0]].At, r2.Vec{X: 20, Y: 20})), 0, 1e-9)
	near(t, "second", r2.Norm(r2.Sub(all[got[1]].At, r2.Vec{X: 80, Y: 20})), 0, 1e-9)
	filled := Optima(g, all, allowed, cost, 30, 4, 10)
	if len(filled) != 4 {
		t.Fatalf("%d with fill, want 4", len(filled))
	}
	for i, a := range filled {
		for _, b := range filled[:i] {
			if d := r2.Norm(r2.Sub(all[a].At, all[b].At)); d < 30 {
				t.Errorf("two spots %g mm apart", d)
			}
		}
	}
	if !slices.IsSortedFunc(filled, func(a, b int) int {
		if cost[a] < cost[b] {
			return -1
		}
		return 1
	}) {
		t.Error("not in order")
	}
}

func TestTolerance(t *testing.T) {
	// Good to the left of x = 25: from the origin a disc of 25.
	good := func(ps []r2.Vec) bool {
		for _, p := range ps {
			if p.X >= 25 {
				return false
			}
		}
		return true
	}
	near(t, "wall", Tolerance(r2.Vec{}, 1, 100, good), 24, 1e-12)
	near(t, "bad itself", Tolerance(r2.Vec{X: 30}, 1, 100, good), 0, 0)
	near(t, "open", Tolerance(r2.Vec{X: -500}, 2, 40, good), 40, 1e-12)
}

// A measurement conditions a normal; the check is the textbook formula on the
// whole block at once.
func TestConditionAgreesWithTheBlockFormula(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 0))
	const n = 5
	a := mat.NewDense(3*n, 3*n, nil)
	for i := range 3 * n {
		for j := range 3 * n {
			a.Set(i, j, rng.NormFloat64())
		}
	}
	var aat mat.Dense
	aat.Mul(a, a.T())
	got := mat.DenseCopyOf(&aat)
	condition(got, 0.5, 2)
	var s, inv, gain, drop, want mat.Dense
	cols := aat.Slice(0, 3*n, 6, 9)
	s.Add(aat.Slice(6, 9, 6, 9), mat.NewDense(3, 3, []float64{.5, 0, 0, 0, .5, 0, 0, 0, .5}))
	if err := inv.Inverse(&s); err != nil {
		t.Fatal(err)
	}
	gain.Mul(cols, &inv)
	drop.Mul(&gain, cols.T())
	want.Sub(&aat, &drop)
	if !mat.EqualApprox(got, &want, 1e-9) {
		t.Error("conditioning component by component differs from the block")
	}
}

func TestNextGoesWhereNothingIsKnown(t *testing.T) {
	at := make([]r2.Vec, 11)
	cov := mat.NewSymDense(33, nil)
	weight := make([]float64, 11)
	for i := range at {
		at[i] = r2.Vec{X: float64(i) * 10}
		weight[i] = 1
		for j := range i + 1 {
			for a := range 3 {
				// Long correlation; known well at the left end.
				f := min(1, float64(i)/5) * min(1, float64(j)/5)
				cov.SetSym(3*i+a, 3*j+a, 4*f*math.Exp(-math.Abs(float64(i-j))/4))
			}
		}
	}
	got := Next(at, cov, weight, 0.01, 15, 3)
	if len(got) != 3 {
		t.Fatalf("%v", got)
	}
	if got[0] < 5 {
		t.Errorf("first measures at %g, where it is known", at[got[0]].X)
	}
	for i, a := range got {
		for _, b := range got[:i] {
			if math.Abs(at[a].X-at[b].X) < 15 {
				t.Errorf("%v lie too near", got)
			}
		}
	}
	for i := range weight {
		weight[i] = 0
	}
	if got := Next(at, cov, weight, 0.01, 15, 3); len(got) != 0 {
		t.Errorf("nothing counts, yet %v", got)
	}
}

// A rectangle that is not finite ends, in a point.
func TestLayOfNothingFinite(t *testing.T) {
	for _, high := range []r2.Vec{{X: math.NaN()}, {X: math.Inf(1), Y: 5}} {
		if g := Lay(r2.Vec{}, high, 8, 100); g.Len() != 1 {
			t.Errorf("to %v: %d nodes, want 1", high, g.Len())
		}
	}
	if g := Lay(r2.Vec{}, r2.Vec{X: 80, Y: 80}, math.Inf(1), 1000); g.StepMM != 8 {
		t.Errorf("infinite step: %g, want 8", g.StepMM)
	}
}
