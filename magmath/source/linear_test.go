package source

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// A named magnet found beside its stated place: the prior's departure is what
// was stated less what was found, and the derivatives lead from one field to
// the other to first order.
func TestPriorLeadsBackToWhatWasStated(t *testing.T) {
	truth := Dipole{AtMM: r3.Vec{X: 2, Y: -1.5, Z: 41}, MomentAm2: r3.Vec{X: 0.05, Y: 0.02, Z: -0.1}}
	var d magmath.Readings
	for x := -100.0; x <= 100; x += 50 {
		for y := -100.0; y <= 100; y += 50 {
			p := r3.Vec{X: x, Y: y}
			d.At, d.B = append(d.At, p), append(d.B, truth.Field(p))
		}
	}
	d.Noise = mat.NewSymDense(3*len(d.At), nil)
	for i := range 3 * len(d.At) {
		d.Noise.SetSym(i, i, 0.01)
	}
	f, err := Find(t.Context(), d, []Magnet{{Name: "hatch", AtMM: r3.Vec{X: 3, Z: 40}, PlaceSDMM: 3}}, nil, Options{Most: -1})
	if err != nil || len(f.Sources) != 1 {
		t.Fatalf("%+v, %v", f, err)
	}
	departure, sd := f.Prior()
	p := r3.Vec{X: 60, Y: 20, Z: -30}
	field, slopes := f.Linear(p)
	if len(departure) != 6 || len(sd) != 6 || len(slopes) != 6 {
		t.Fatalf("%d, %d, %d of six parameters", len(departure), len(sd), len(slopes))
	}
	for i, want := range []float64{1, 1.5, -1} { // stated less true
		if math.Abs(departure[3+i]-want) > 0.2 || sd[3+i] != 3 {
			t.Errorf("coordinate %d: departure %.2f (%.2f), sd %g", i, departure[3+i], want, sd[3+i])
		}
	}
	moved := field
	for i := range 3 {
		moved = r3.Add(moved, r3.Scale(departure[3+i], slopes[3+i]))
	}
	there := Dipole{AtMM: r3.Vec{X: 3, Z: 40}, MomentAm2: f.Sources[0].MomentAm2}
	if d := r3.Norm(r3.Sub(moved, there.Field(p))); d > 0.05*r3.Norm(field) {
		t.Errorf("the derivatives miss the stated place's field by %.3f of %.3f uT", d, r3.Norm(field))
	}
}

// The sources' own fields and derivatives add up to those of all.
func TestSourcesAddUp(t *testing.T) {
	near := Dipole{AtMM: r3.Vec{X: -40, Z: 45}, MomentAm2: r3.Vec{X: 0.08, Z: 0.06}}
	pair := Pair{PathMM: []r3.Vec{{X: 60, Y: -120, Z: 50}, {X: 60, Y: 120, Z: 50}}, GapMM: 12, CurrentA: 20}
	lead := pair.Circuit()
	var d magmath.Readings
	for x := -100.0; x <= 100; x += 40 {
		for y := -100.0; y <= 100; y += 40 {
			p := r3.Vec{X: x, Y: y}
			d.At, d.B = append(d.At, p), append(d.B, r3.Add(near.Field(p), lead.Field(p)))
		}
	}
	d.Noise = mat.NewSymDense(3*len(d.At), nil)
	for i := range 3 * len(d.At) {
		d.Noise.SetSym(i, i, 0.01)
	}
	f, err := Find(t.Context(), d, []Magnet{{Name: "hatch", AtMM: near.AtMM}}, []NamedLead{{Name: "lead", PathMM: pair.PathMM, GapMM: 12, CurrentA: 20}}, Options{Most: -1})
	if err != nil || len(f.Sources) != 2 {
		t.Fatalf("%d sources, %v", len(f.Sources), err)
	}
	p := r3.Vec{X: 20, Y: 35, Z: -15}
	all, slopes := f.Linear(p)
	var sum r3.Vec
	var row int
	for k, c := range f.Sources {
		b, own := f.LinearOf(k, p)
		sum = r3.Add(sum, b)
		if r3.Norm(r3.Sub(b, c.Field(p))) > 1e-9 || len(own) != c.Cov.SymmetricDim() {
			t.Errorf("%s: %v, its own field %v; %d derivatives", c.Name, b, c.Field(p), len(own))
		}
		for _, v := range own {
			if v != slopes[row] {
				t.Errorf("%s: derivative %d is %v, in all %v", c.Name, row, v, slopes[row])
			}
			row++
		}
	}
	if r3.Norm(r3.Sub(sum, all)) > 1e-12 || row != len(slopes) {
		t.Errorf("they add up to %v of %v, %d of %d derivatives", sum, all, row, len(slopes))
	}
	if b, own := f.LinearOf(0, f.Sources[0].AtMM); own != nil || r3.Norm(b) < 1e5 {
		t.Errorf("on the magnet: %v, %d derivatives", b, len(own))
	}
}
