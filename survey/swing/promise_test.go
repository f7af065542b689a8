package swing

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey/logbook"
)

func TestPromiseTakesTheModulesOwnOffsetOut(t *testing.T) {
	// A magnet gives (12, -5, 3) uT in the craft frame. The sensor's x points
	// right and its y to the tail; it reads 5 % too little along x and has an
	// offset of (30, -20, 8).
	axes := magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}
	steady := r3.Vec{X: 12, Y: -5, Z: 3}
	gain := magmath.Diagonal(0.95, 1, 1)
	own := r3.Vec{X: 30, Y: -20, Z: 8}
	raw := r3.Add(gain.Apply(axes.Transpose().Apply(steady)), own)
	loose := &logbook.Calibration{OffsetUT: [3]float64{own.X, own.Y, own.Z}, Matrix: magmath.Diagonal(1/0.95, 1, 1), OffsetStandard: [3]float64{.1, .1, .1}}
	on := &logbook.Calibration{OffsetUT: [3]float64{raw.X, raw.Y, raw.Z}, Matrix: loose.Matrix}
	on.Covariance[0][0], on.Covariance[1][1], on.Covariance[2][2] = 0.04, 0.04, 0.04
	p, kept := Promise(on, loose, axes, r3.Vec{}, r3.Vec{X: 11, Y: -5, Z: 3}, magmath.Diagonal(1, 1, 1))
	if r3.Norm(r3.Sub(p.Found, steady)) > 1e-9 || math.Abs(kept.OffUT-1) > 1e-9 || !kept.Kept {
		t.Errorf("found %v, want %v; %+v", p.Found, steady, kept)
	}
	// x of the craft is y of the sensor, whose gain is right.
	if math.Abs(p.FoundCov[0][0]-0.05) > 1e-9 || math.Abs(p.FoundCov[1][1]-0.05/(0.95*0.95)) > 1e-9 {
		t.Errorf("covariance %v", p.FoundCov)
	}
	if _, kept := Promise(on, loose, axes, r3.Vec{}, r3.Vec{X: 2, Y: -5, Z: 3}, magmath.Diagonal(1, 1, 1)); kept.Kept {
		t.Errorf("10 uT off and kept: %+v", kept)
	}
}

// Iron of 4 % along x adds, in a field of 20 uT along x and 45 down, 4 % of 20 less the
// mean gain of 4/3 %: what remains of it is (0.533, 0, -0.6) uT. By hand.
func TestPromiseTellsTheInducedPart(t *testing.T) {
	ambient := r3.Vec{X: 20, Z: 45}
	loose := &logbook.Calibration{Parameters: 9, Matrix: magmath.Identity(), OffsetStandard: [3]float64{.1, .1, .1}}
	on := &logbook.Calibration{Parameters: 9, Matrix: magmath.Diagonal(1/1.04, 1, 1), OffsetStandard: [3]float64{.1, .1, .1}}
	got, sd := induced(on, loose, magmath.Identity(), ambient)
	if want := (r3.Vec{X: 0.04 * 2 / 3 * 20, Z: -0.04 / 3 * 45}); r3.Norm(r3.Sub(got, want)) > 1e-9 {
		t.Errorf("induced %v, want %v", got, want)
	}
	if !(sd > leastUT && sd < 0.3) {
		t.Errorf("known to %g uT", sd)
	}
	on.Parameters = 4
	if got, sd := induced(on, loose, magmath.Identity(), ambient); got != (r3.Vec{}) || sd != inducedUT {
		t.Errorf("without cross terms: %v, %g", got, sd)
	}
	if got, sd := induced(loose, loose, magmath.Identity(), r3.Vec{}); got != (r3.Vec{}) || sd != inducedUT {
		t.Errorf("without an ambient field: %v, %g", got, sd)
	}
}
