package fieldmap

import (
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Foretell returns mean and covariance of a further reading at p, microtesla, whose
// error has the covariance own and, with the errors of the map's readings, the
// covariance across: three rows, three columns a reading, in the order of Readings;
// nil: none. What the reading has in common with those of the map, such as the
// background that was subtracted from both, then does not count twice.
//
// Source: conditional of a joint normal distribution, Rasmussen and Williams (2006),
// eq. A.6, with k(p, readings) + across in place of k.
func (m *Map) Foretell(p r3.Vec, own magmath.Mat3, across *mat.Dense) (r3.Vec, magmath.Mat3) {
	var at [1]r3.Vec
	fields, k := m.whitened([]r3.Vec{p}, at[:])
	if across != nil {
		shared := blas64.General{Rows: k.Rows, Cols: 3, Stride: 3, Data: make([]float64, 3*k.Rows)}
		for i := range k.Rows {
			for c := range 3 {
				shared.Data[3*i+c] = across.At(c, i)
			}
		}
		var own [3]float64
		blas64.Gemv(blas.Trans, 1, shared, m.alpha.RawVector(), 0, blas64.Vector{N: 3, Data: own[:], Inc: 1})
		at[0] = r3.Add(at[0], r3.Vec{X: own[0], Y: own[1], Z: own[2]})
		blas64.Trsm(blas.Left, blas.Trans, 1, m.upper, shared)
		for i, v := range shared.Data {
			k.Data[i] += v
		}
	}
	cov := []magmath.Mat3{m.kernel(p, p).Add(own)}
	addGrams(cov, fields, 1)
	addGrams(cov, k, -1)
	return at[0], tidy(cov[0])
}
