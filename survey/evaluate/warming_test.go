package evaluate

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/magmath/source"
	"quietmount/survey"
)

// A motor whose magnet warms by 40 K loses up to 8 per cent of its field: by hand, a
// mean of -4 per cent and the variance of a uniform distribution, 0.08^2/12.
func TestAWarmMotorLosesField(t *testing.T) {
	rng := [3]r3.Vec{{X: 40}, {X: 80}, {Y: 60}}
	var d magmath.Readings
	dipole := source.Dipole{AtMM: r3.Vec{Z: 50}, MomentAm2: r3.Vec{X: 0.1, Z: 0.2}}
	var noise []magmath.Mat3
	for x := -120.0; x <= 120; x += 40 {
		for y := -120.0; y <= 120; y += 40 {
			p := r3.Vec{X: x, Y: y}
			d.At, d.B = append(d.At, p), append(d.B, dipole.Field(p))
			noise = append(noise, magmath.Diagonal(0.01, 0.01, 0.01))
		}
	}
	d.Noise = magmath.BlockNoise(noise)
	found, err := source.Find(t.Context(), d, []source.Magnet{{Name: "motor", AtMM: dipole.AtMM}}, nil, source.Options{})
	if err != nil || len(found.Sources) != 1 {
		t.Fatalf("%v, %d sources", err, len(found.Sources))
	}
	for _, p := range rng {
		got := warmed(heading.Load{}, []warming{{found.Sources[0].Field, 40 * lossPerK, false}}, p)
		b := dipole.Field(p)
		if off := r3.Norm(r3.Sub(got.Mean, r3.Scale(-0.04, b))); off > 0.01*r3.Norm(b) {
			t.Errorf("at %v: mean %v of a field of %v", p, got.Mean, b)
		}
		if want := 0.08 * r3.Norm(b) / math.Sqrt(12); math.Abs(math.Sqrt(got.Cov.Trace())-want) > 0.02*want {
			t.Errorf("at %v: %g, want %g uT", p, math.Sqrt(got.Cov.Trace()), want)
		}
	}
	if got := warmed(heading.Load{}, []warming{{found.Sources[0].Field, 0.08, false}}, found.Sources[0].AtMM); got.Mean != (r3.Vec{}) {
		t.Errorf("at the magnet: %v", got.Mean)
	}
}

// A motor that can run either way warms in both: its load loses field about zero, with
// the mean square of a loss from nothing to all, and counts alike where it is
// reversed. After an edit the loss is that of the magnet where it now is.
func TestAMotorThatReversesWarmsEitherWay(t *testing.T) {
	at := r3.Vec{Z: 50}
	dipole := source.Dipole{AtMM: at, MomentAm2: r3.Vec{X: 0.1, Z: 0.2}}
	var d magmath.Readings
	var noise []magmath.Mat3
	for x := -120.0; x <= 120; x += 40 {
		for y := -120.0; y <= 120; y += 40 {
			p := r3.Vec{X: x, Y: y}
			d.At, d.B = append(d.At, p), append(d.B, dipole.Field(p))
			noise = append(noise, magmath.Diagonal(0.01, 0.01, 0.01))
		}
	}
	d.Noise = magmath.BlockNoise(noise)
	found, err := source.Find(t.Context(), d, []source.Magnet{{Name: "motor", AtMM: at}}, nil, source.Options{})
	if err != nil || len(found.Sources) != 1 {
		t.Fatalf("%v, %d sources", err, len(found.Sources))
	}
	model := newSourceModel(found, d)
	f := &Findings{Craft: &survey.Craft{
		Loads: []survey.Load{{Name: "motor", Reverses: true}},
		Parts: []survey.Part{{Name: "motor", Load: "motor", Magnetic: true, AtMM: &at, WarmsK: 40}},
	}}
	by := r3.Vec{X: 30}
	// Of two places together the loss is one and the same: their covariance, by hand, is
	// that of one factor.
	f.Map = &Map{Loads: map[string]Field{"motor": nothing{}}, SourceModels: map[string]*SourceModel{survey.StateUnpowered: model}}
	two := []r3.Vec{{X: 60, Y: 20}, {X: -40, Y: 30}}
	m := f.NewMounted()
	mean, joint := m.Joint(0, two)
	loads := m.Loads(two)
	for i := range two {
		if mean[i] != loads[i][0].Mean || math.Abs(joint.At(3*i, 3*i)-loads[i][0].Cov[0][0]) > 1e-12 {
			t.Errorf("place %d: %v and %g of %+v", i, mean[i], joint.At(3*i, 3*i), loads[i][0])
		}
	}
	a, b := found.Sources[0].Field(two[0]), found.Sources[0].Field(two[1])
	if want := a.X * b.Y * 0.08 * 0.08 / 3; math.Abs(joint.At(0, 4)-want) > 1e-9 {
		t.Errorf("between places %g, want %g", joint.At(0, 4), want)
	}
	for _, moved := range []r3.Vec{{}, by} {
		f.Map = &Map{SourceModels: map[string]*SourceModel{survey.StateUnpowered: model.With(map[int]SourceEdit{0: {By: moved}})}}
		p := r3.Vec{X: 60, Y: 20}
		got := warmed(heading.Load{}, f.warmedBy("motor"), p)
		b := dipole.Field(r3.Sub(p, moved))
		if got.Mean != (r3.Vec{}) {
			t.Errorf("moved by %v: mean %v", moved, got.Mean)
		}
		if want := 0.08 * r3.Norm(b) / math.Sqrt(3); math.Abs(math.Sqrt(got.Cov.Trace())-want) > 0.02*want {
			t.Errorf("moved by %v: %g, want %g uT", moved, math.Sqrt(got.Cov.Trace()), want)
		}
	}
}

// nothing is a field that is known to be zero.
type nothing struct{}

func (nothing) At(r3.Vec) (r3.Vec, magmath.Mat3) { return r3.Vec{}, magmath.Mat3{} }
