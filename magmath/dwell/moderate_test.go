package dwell

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// Over runs of thirty captures the moderated covariance fits the errors better
// than the captures' own, and its intervals hold: where no pulse scatters,
// where all do alike, and where those of every third station do.
func TestModerateCoverage(t *testing.T) {
	const stations = 30
	runs := simtest.Trials(15, 40)
	for _, c := range []struct {
		name       string
		scatter    func(station int) float64
		low, high  float64 // of the coverage of 95 % intervals
		size, wide float64 // mean squared error over mean variance, between
	}{
		{"no pulse scatters", func(int) float64 { return 0 }, 0.94, 0.97, 0.88, 1.08},
		{"all scatter alike", func(int) float64 { return 0.3 }, 0.935, 0.965, 0.9, 1.1},
		{"every third scatters", func(s int) float64 { return float64(s%3/2) * 0.4 }, 0.935, 0.97, 0.9, 1.2},
	} {
		inside, n := 0, 0
		square, variance, own := 0.0, 0.0, 0.0
		for run := range runs {
			h := newHand(uint64(900 + run))
			var es []PulseEstimate
			d := r3.Vec{X: 0.02, Y: -0.01}
			for s := range stations {
				h.scatter = c.scatter(s)
				e, err := Pulse(t.Context(), h.capture(d), Lag{Source: FromLabels}, DefaultPulseOptions())
				if err != nil {
					t.Fatal(err)
				}
				es = append(es, e)
				own += e.Cov.Trace()
			}
			for _, e := range Moderate(es) {
				q := distuv.StudentsT{Sigma: 1, Nu: e.DF}.Quantile(0.975)
				x := r3.Sub(e.Diff, d)
				for k, v := range []float64{x.X, x.Y, x.Z} {
					if n++; math.Abs(v) < q*math.Sqrt(e.Cov[k][k]) {
						inside++
					}
				}
				square += r3.Norm2(x)
				variance += e.Cov.Trace()
			}
		}
		held := float64(inside) / float64(n)
		t.Logf("%s: coverage %.3f of %d, squared error over variance %.2f, over the captures' own %.2f", c.name, held, n, square/variance, square/own)
		between(t, c.name+": coverage", held, c.low, c.high)
		between(t, c.name+": squared error over variance", square/variance, c.size, c.wide)
	}
}

// Too few captures say nothing of one another.
func TestModerateLeavesTwoAlone(t *testing.T) {
	h := newHand(5)
	h.scatter = 0.5
	var es []PulseEstimate
	for range 2 {
		e, err := Pulse(t.Context(), h.capture(r3.Vec{}), Lag{Source: FromLabels}, DefaultPulseOptions())
		if err != nil {
			t.Fatal(err)
		}
		es = append(es, e)
	}
	for i, e := range Moderate(es) {
		if e.Cov != es[i].Cov || e.DF != es[i].DF {
			t.Errorf("capture %d: %v with %v degrees of freedom, want %v with %v", i, e.Cov, e.DF, es[i].Cov, es[i].DF)
		}
	}
}

// Trigamma at 1 and 1/2 is pi^2/6 and pi^2/2.
// Source: Abramowitz and Stegun 1964, 6.4.2 and 6.4.4.
func TestTrigamma(t *testing.T) {
	for x, want := range map[float64]float64{1: math.Pi * math.Pi / 6, 0.5: math.Pi * math.Pi / 2} {
		between(t, "trigamma", trigamma(x), want-1e-9, want+1e-9)
		between(t, "its inverse", inverseTrigamma(want), x-1e-6, x+1e-6)
	}
}

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
		runs := simtest.Trials(2000, 20000)
		for range runs {
			x := columns(noise.still(10, 5, somewhere, 1).B)[0]
			m, _ := moments(x)
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
