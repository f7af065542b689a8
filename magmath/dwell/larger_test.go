package dwell

import (
	"math"
	"testing"

	"quietmount/magmath"
)

func TestLarger(t *testing.T) {
	a := magmath.Mat3{{2, 0.5, 0.1}, {0.5, 1, -0.3}, {0.1, -0.3, 3}}
	for name, c := range map[string]struct {
		b    magmath.Mat3
		want magmath.Mat3
		df   float64
	}{
		"smaller":            {a.Scale(0.3), a, 6},
		"larger":             {a.Scale(4), a.Scale(4), 6},
		"nothing":            {magmath.Mat3{}, a, 6},
		"one direction more": {a.Add(magmath.Diagonal(50, 0, 0)), a.Add(magmath.Diagonal(50, 0, 0)), 1e9},
	} {
		got, share, worth := larger(a, c.b, c.df)
		for i := range 3 {
			for j := range 3 {
				if math.Abs(got[i][j]-c.want[i][j]) > 1e-6 {
					t.Errorf("%s: %v, want %v", name, got, c.want)
				}
			}
		}
		if worth < c.df || worth > 3*c.df {
			t.Errorf("%s: worth %g", name, worth)
		}
		if share < 0 || share > 1 || (share > 0) != (c.want != a) {
			t.Errorf("%s: share %g", name, share)
		}
	}
	// A singular first matrix still gives an answer.
	if got, _, _ := larger(magmath.Diagonal(1, 1, 0), a, 6); got[2][2] < 3 {
		t.Errorf("singular: %v", got)
	}
}

// Exact in expectation: simulated sums of squares and neighbouring products
// in intervals of ten.
func TestExpectedLag1(t *testing.T) {
	for _, phi := range []float64{-0.3, 0, 0.6, 0.9} {
		noise := newAR1(61, phi)
		s0, s1, v := 0.0, 0.0, 0.0
		runs := trials(20000, 5000)
		for range runs {
			x := columns(noise.still(10, 5, somewhere, 1).B)[0]
			m, _ := Moments(x)
			v += (m - somewhere.X) * (m - somewhere.X) / float64(runs)
			for i := range x {
				s0 += (x[i] - m) * (x[i] - m)
				if i > 0 {
					s1 += (x[i] - m) * (x[i-1] - m)
				}
			}
		}
		between(t, "lag 1", s1/s0-expectedLag1(phi, 10), -0.02, 0.02)
		between(t, "variance of the mean", v/meanVariance(phi, 10), 0.95, 1.05)
		between(t, "solved", solvePhi(expectedLag1(phi, 10), 10), phi-1e-6, phi+1e-6)
	}
}
