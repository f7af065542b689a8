package survey

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

func TestFrame(t *testing.T) {
	// A quarter turn: the sensor's x points right, its y aft.
	f := NewFrame(&magmath.Mat3{{0, -1, 0}, {1, 0, 0}, {0, 0, 1}}, &Correction{OffsetUT: [3]float64{1, 2, 3}, Matrix: magmath.Diagonal(2, 1, 0.5)})
	raw := r3.Vec{X: 11, Y: 7, Z: 43}
	if got, want := f.Field(raw), (r3.Vec{X: -5, Y: 20, Z: 20}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
	if got, want := f.Turn(raw), (r3.Vec{X: -7, Y: 11, Z: 43}); got != want {
		t.Errorf("an acceleration: got %v, want %v", got, want)
	}
	minus := r3.Vec{X: math.Copysign(0, -1), Y: 1}
	for _, f := range []Frame{{}, NewFrame(nil, nil), NewFrame(new(magmath.Identity()), nil)} {
		if got := f.Field(minus); !math.Signbit(got.X) || got.Y != 1 {
			t.Errorf("a frame that changes nothing makes %v of %v", got, minus)
		}
	}
}
