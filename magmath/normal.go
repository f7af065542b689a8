package magmath

import (
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Normal draws vectors at several points from their joint normal distribution.
type Normal struct {
	mean  []float64
	lower *mat.TriDense // nil: no uncertainty
	z     *mat.VecDense
	value *mat.VecDense
}

// NewNormal returns the distribution of the means and their joint covariance,
// three rows a point. It adds to the diagonal of cov, in place, as much as a
// Cholesky factor needs: at most a thousandth of the mean variance. If even that
// is not enough, every draw is the mean.
func NewNormal(mean []r3.Vec, cov *mat.SymDense) *Normal {
	n := 3 * len(mean)
	d := &Normal{z: mat.NewVecDense(n, nil), value: mat.NewVecDense(n, nil)}
	for _, m := range mean {
		d.mean = append(d.mean, m.X, m.Y, m.Z)
	}
	scale := mat.Trace(cov) / float64(n)
	for _, jitter := range []float64{1e-9, 1e-6, 1e-3} {
		for i := range n {
			cov.SetSym(i, i, cov.At(i, i)+jitter*scale+1e-15)
		}
		var chol mat.Cholesky
		if chol.Factorize(cov) {
			d.lower = new(mat.TriDense)
			chol.LTo(d.lower)
			break
		}
	}
	return d
}

// Draw draws all vectors anew.
func (d *Normal) Draw(rng *rand.Rand) {
	for i := range d.z.Len() {
		d.z.SetVec(i, rng.NormFloat64())
	}
	if d.lower == nil {
		copy(d.value.RawVector().Data, d.mean)
		return
	}
	d.value.MulVec(d.lower, d.z)
	for i, m := range d.mean {
		d.value.SetVec(i, d.value.AtVec(i)+m)
	}
}

// At returns the vector at point k as drawn last.
func (d *Normal) At(k int) r3.Vec {
	return r3.Vec{X: d.value.AtVec(3 * k), Y: d.value.AtVec(3*k + 1), Z: d.value.AtVec(3*k + 2)}
}
