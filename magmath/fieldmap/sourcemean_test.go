package fieldmap

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// A known field is added where nothing was measured and taken off where
// something was, with its parameter. By hand: a field linear in x is the
// mean, the readings lie 2 uT above it everywhere.
func TestSourceMeanIsAddedWithItsParameter(t *testing.T) {
	known := func(p r3.Vec) r3.Vec { return r3.Vec{Z: 0.1 * p.X} }
	var d magmath.Readings
	var noise []magmath.Mat3
	for _, x := range []float64{0, 40, 80, 120, 160} {
		p := r3.Vec{X: x}
		d.At, d.B = append(d.At, p), append(d.B, r3.Add(known(p), r3.Vec{Z: 2}))
		noise = append(noise, magmath.Diagonal(0.01, 0.01, 0.01))
	}
	d.Noise = magmath.BlockNoise(noise)
	told := &SourceMean{Name: "told", At: func(p r3.Vec) (r3.Vec, []r3.Vec) { return known(p), []r3.Vec{{Z: 3}} }}
	m, err := Fit(t.Context(), d, []Candidate{{Kernel: Smooth{LogSD: math.Log(0.05), LogLength: math.Log(40)}, Spread: []float64{0.3, 0.3}, SourceMean: told}})
	if err != nil {
		t.Fatal(err)
	}
	far := r3.Vec{X: 5000, Y: 3000}
	if got, want := m.Mean(far).Z, 502.0; math.Abs(got-want) > 0.05 {
		t.Errorf("far away %.3f, want %.3f", got, want)
	}
	mean, cov := m.At(far)
	if math.Abs(mean.Z-m.Mean(far).Z) > 1e-9 || cov[2][2] > 0.05 {
		t.Errorf("At says %v with variance %.3f", mean, cov[2][2])
	}
	joint, _ := m.Joint([]r3.Vec{{X: 20}, far})
	if math.Abs(joint[0].Z-4) > 0.1 || math.Abs(joint[1].Z-mean.Z) > 1e-9 {
		t.Errorf("jointly %v", joint)
	}
	if got := m.times[0]; math.Abs(got-2./3) > 0.02 {
		t.Errorf("the parameter became %.3f, want %.3f", got, 2./3)
	}
	if g := m.Gradient(r3.Vec{X: 300}); math.Abs(g[2][0]-0.1) > 0.01 {
		t.Errorf("gradient %.3f uT/mm", g[2][0])
	}
	if l := m.LeaveOneOut(); l.RMSEUT > 0.2 {
		t.Errorf("left out: %.3f uT", l.RMSEUT)
	}
}
