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
	if _, kept := Promise(on, loose, axes, r3.Vec{X: 2, Y: -5, Z: 3}, magmath.Diagonal(1, 1, 1)); kept.Kept {
		t.Errorf("10 uT off and kept: %+v", kept)
	}
}
