package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
)

// Whatever the residuals look like, what is made of their memory is the
// covariance of something: a sum of correlations that ends early need not be.
func TestMemoryIsACovariance(t *testing.T) {
	const n = 400
	rng := rand.New(rand.NewPCG(4, 0))
	for range simtest.Trials(60, 300) {
		f := &fit{e: make([]float64, nShapes), target: 50, resid: make([]float64, n), weight: make([]float64, n)}
		x := make([]r3.Vec, n)
		slow, turn, tip := 0.3*rng.Float64(), rng.Float64(), 0.2*rng.Float64()
		noise := 0.2 * rng.Float64()
		for i := range n {
			at := float64(i)
			f.weight[i], f.resid[i] = 1, math.Sin(slow*at)+noise*rng.NormFloat64()
			sin, cos := math.Sincos(turn * at)
			z := math.Sin(tip * at)
			rho := math.Sqrt(1 - z*z)
			x[i] = r3.Vec{X: 50 * rho * cos, Y: 50 * rho * sin, Z: 50 * z}
		}
		m := correlationOf(t.Context(), f, x)
		var c mat.Cholesky
		if !c.Factorize(m.score) || !(m.spent > 0) || !(m.effective > 0) {
			t.Fatalf("slow %.2f, turn %.2f, tip %.2f, noise %.2f: spent %g, effective %g", slow, turn, tip, noise, m.spent, m.effective)
		}
	}
}
