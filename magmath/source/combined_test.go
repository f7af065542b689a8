package source

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// What Moved gives is Linear and RivalLess put together with the same factors.
func TestMovedIsLinearPutTogether(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 1))
	pair := leadAlong("lead", []r3.Vec{{X: -80, Z: 40}, {X: 10, Y: 20, Z: 45}, {X: 90, Z: 40}}, 5, 20, 10)
	pair.coords[9], pair.coords[10] = 6, 2
	apart := NamedLead{PathMM: []r3.Vec{{X: -80, Z: 40}, {X: 90, Z: 40}}, ReturnMM: []r3.Vec{{X: 90, Y: 30, Z: 40}, {X: -80, Y: 30, Z: 40}}, CurrentA: 20}.element()
	magnet := dipoleAt("magnet", r3.Vec{X: 20, Y: -30, Z: 30}, 5)
	model := func(es ...*element) whole {
		w := whole{es: es}
		for k, e := range es {
			x := make([]float64, e.strengths())
			for i := range x {
				x[i] = e.strengthsAt[i] + e.strengthsSD[i]*rng.NormFloat64()
			}
			w.x = append(w.x, x)
			w.fields, w.gradients = append(w.fields, e.fields()), append(w.gradients, e.gradients(w.x[k]))
			w.row = append(w.row, make([]int, e.strengths()+len(e.coords))...)
		}
		return w
	}
	f := &Found{all: model(pair, apart, magnet), rivals: []rival{{model(magnet.clone()), 0.3}, {model(pair.clone(), magnet.clone()), 0.2}}}
	factors := make([]float64, len(f.all.row)+len(f.rivals))
	for i := range factors {
		factors[i] = rng.NormFloat64()
	}
	moved := f.Moved(factors)
	for range 200 {
		p := r3.Vec{X: 120 * (2*rng.Float64() - 1), Y: 120 * (2*rng.Float64() - 1), Z: 60*rng.Float64() - 40}
		want, slopes := f.Linear(p)
		for i, v := range slopes {
			want = r3.Add(want, r3.Scale(factors[i], v))
		}
		for k := range f.rivals {
			want = r3.Add(want, r3.Scale(factors[len(slopes)+k], f.RivalLess(k, p)))
		}
		got := moved(p)
		if off := r3.Norm(r3.Sub(got, want)); !(off <= 1e-9*(1+r3.Norm(want))) {
			t.Fatalf("at %v: %v, put together %v", p, got, want)
		}
	}
	if at := moved(place(magnet.coords)); math.Abs(at.X) < magmath.BeyondUT {
		t.Errorf("on a source it is %v", at)
	}
	if n := testing.AllocsPerRun(100, func() { moved(r3.Vec{X: 1}) }); n > 0 {
		t.Errorf("a field allocates %g times", n)
	}
}
