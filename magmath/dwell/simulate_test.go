package dwell

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"
)

// ar1 is a stationary first-order autoregression of unit variance.
type ar1 struct {
	rng   *rand.Rand
	phi   float64
	state [3]float64
}

func newAR1(seed uint64, phi float64) *ar1 {
	a := &ar1{rng: rand.New(rand.NewPCG(seed, 7)), phi: phi}
	a.restart()
	return a
}

// restart draws a fresh, independent beginning.
func (a *ar1) restart() {
	for k := range a.state {
		a.state[k] = a.rng.NormFloat64()
	}
}

func (a *ar1) next() r3.Vec {
	for k := range a.state {
		a.state[k] = a.phi*a.state[k] + math.Sqrt(1-a.phi*a.phi)*a.rng.NormFloat64()
	}
	return vec(a.state)
}

// still is n samples at rateHz of noise of the given deviation about mean.
func (a *ar1) still(n int, rateHz float64, mean r3.Vec, sd float64) Series {
	a.restart()
	s := Series{make([]float64, n), make([]r3.Vec, n)}
	for i := range n {
		s.TS[i] = float64(i) / rateHz
		s.B[i] = r3.Add(mean, r3.Scale(sd, a.next()))
	}
	return s
}

// inside counts the axes on which truth lies in the 95 % interval.
func inside(got, truth r3.Vec, variance [3]float64, df float64) int {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.975)
	count, g, w := 0, array(got), array(truth)
	for k := range 3 {
		if math.Abs(g[k]-w[k]) <= t*math.Sqrt(variance[k]) {
			count++
		}
	}
	return count
}

func diagonal(m [3][3]float64) [3]float64 { return [3]float64{m[0][0], m[1][1], m[2][2]} }

func between(t *testing.T, what string, got, low, high float64) {
	t.Helper()
	if !(got >= low && got <= high) {
		t.Errorf("%s = %.4g, want %g to %g", what, got, low, high)
	} else {
		t.Logf("%s = %.4g", what, got)
	}
}
