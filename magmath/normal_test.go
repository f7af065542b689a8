package magmath_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// The draws have the mean and the covariance that they are asked for, also
// between points. A standard error of the sample covariance is below 3 per cent
// of the largest variance, here 4.
func TestNormalHasItsMeanAndCovariance(t *testing.T) {
	mean := []r3.Vec{{X: 3, Y: -1}, {Z: 7}}
	cov := mat.NewSymDense(6, nil)
	for i := range 6 {
		cov.SetSym(i, i, 4)
	}
	cov.SetSym(0, 3, 3)
	cov.SetSym(1, 2, -2)
	const draws = 4000
	d, rng := magmath.NewNormal(mean, mat.NewSymDense(6, append([]float64{}, cov.RawSymmetric().Data...))), rand.New(rand.NewPCG(1, 2))
	sum, square := make([]float64, 6), mat.NewSymDense(6, nil)
	for range draws {
		d.Draw(rng)
		a, b := r3.Sub(d.At(0), mean[0]), r3.Sub(d.At(1), mean[1])
		v := []float64{a.X, a.Y, a.Z, b.X, b.Y, b.Z}
		for i := range v {
			sum[i] += v[i] / draws
		}
		square.SymRankOne(square, 1./draws, mat.NewVecDense(6, v))
	}
	for i := range 6 {
		if math.Abs(sum[i]) > 4*2/math.Sqrt(draws) {
			t.Errorf("component %d: mean off by %.3f", i, sum[i])
		}
		for j := range 6 {
			if d := square.At(i, j) - cov.At(i, j); math.Abs(d) > 0.4 {
				t.Errorf("covariance %d, %d: off by %.3f", i, j, d)
			}
		}
	}
}

// Without uncertainty, and with a covariance that is none, every draw is the mean.
func TestNormalWithoutUncertainty(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for _, v := range []float64{0, -1} {
		cov := mat.NewSymDense(3, nil)
		cov.SetSym(0, 0, v)
		d := magmath.NewNormal([]r3.Vec{{X: 1, Y: 2, Z: 3}}, cov)
		d.Draw(rng)
		if r3.Norm(r3.Sub(d.At(0), r3.Vec{X: 1, Y: 2, Z: 3})) > 1e-6 {
			t.Errorf("variance %g: drew %v", v, d.At(0))
		}
	}
}
