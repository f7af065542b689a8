package dwell

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// A probe set down elsewhere without a shake has moved if the field there
// differs by five deviations of a sample; lying where it was for three minutes
// of autocorrelated noise, it has not.
func TestSetDownElsewhereWithoutAShake(t *testing.T) {
	const rate = 50
	for seed := range uint64(20) {
		noise := newAR1(seed, 0.6)
		r := NewRest(RestOptions{})
		add := func(i int, at r3.Vec) State {
			return r.Add(float64(i)/rate, r3.Add(at, r3.Scale(0.3, noise.next())))
		}
		at := r3.Vec{X: 18, Y: 3, Z: 46}
		n := 0
		for ; n < 10*rate; n++ {
			add(n, at)
		}
		r.Mark()
		for end := n + 180*rate; n < end; n++ {
			if s := add(n, at); s.Moved {
				t.Fatalf("seed %d: moved after %d s at rest", seed, n/rate)
			}
		}
		at.X -= 1.5
		for end := n + 4*rate; n < end; n++ {
			add(n, at)
		}
		if s := r.State(); !s.Moved || !s.AtRest {
			t.Errorf("seed %d: four seconds after the jump %+v", seed, s)
		}
	}
}
