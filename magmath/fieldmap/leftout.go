package fieldmap

import (
	"math"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// LeftOut is the result of leaving each reading out in turn.
type LeftOut struct {
	Residual         []r3.Vec       // reading less prediction from the others
	Cov              []magmath.Mat3 // of that residual, noise of the reading included
	RMSEUT           float64        // root mean square a component
	Inside95Fraction float64        // of the components inside their 95 % interval
	LogDensity       float64        // sum of the log densities of the left-out readings
}

// LeaveOneOut returns the leave-one-out check in closed form: with C the
// covariance of the readings y, the residual of block i is ([C^-1]_ii)^-1 [C^-1
// y]_i and its covariance ([C^-1]_ii)^-1. The hyperparameters are those of all
// readings. With a single reading it compares with the prior.
//
// With C = U^T U the blocks on the diagonal of C^-1 = U^-1 U^-T are products of
// rows of U^-1: half the work of the whole inverse.
func (m *Map) LeaveOneOut() LeftOut {
	if m.left != nil {
		return *m.left
	}
	return m.leaveOneOut(mat.NewSymDense(m.upper.N, nil))
}

// leaveOneOut is LeaveOneOut with the inverse of U in room.
func (m *Map) leaveOneOut(room *mat.SymDense) LeftOut {
	out := LeftOut{}
	raw := m.upper
	raw.Data = room.RawSymmetric().Data
	copy(raw.Data, m.upper.Data)
	if !lapack64.Trtri(raw) { // U^-1
		return LeftOut{RMSEUT: math.NaN(), Inside95Fraction: math.NaN(), LogDensity: math.Inf(-1)}
	}
	row := func(i, from int) blas64.Vector {
		return blas64.Vector{N: raw.N - from, Data: raw.Data[i*raw.Stride+from : i*raw.Stride+raw.N], Inc: 1}
	}
	n := len(m.data.At)
	inside, sum := 0, 0.0
	for i := range n {
		block := mat.NewSymDense(3, nil)
		for a := range 3 {
			for b := a; b < 3; b++ {
				block.SetSym(a, b, blas64.Dot(row(3*i+a, 3*i+b), row(3*i+b, 3*i+b)))
			}
		}
		var chol mat.Cholesky
		var cov mat.SymDense
		if !chol.Factorize(block) || chol.InverseTo(&cov) != nil {
			return LeftOut{RMSEUT: math.NaN(), Inside95Fraction: math.NaN(), LogDensity: math.Inf(-1)}
		}
		c := magmath.Block(&cov, 0, 0)
		u := r3.Vec{X: m.alpha.AtVec(3 * i), Y: m.alpha.AtVec(3*i + 1), Z: m.alpha.AtVec(3*i + 2)}
		r := c.Apply(u)
		out.Residual, out.Cov = append(out.Residual, r), append(out.Cov, c)
		out.LogDensity -= 0.5 * (r3.Dot(u, r) - chol.LogDet() + 3*math.Log(2*math.Pi))
		sum += r3.Norm2(r)
		for a, x := range []float64{r.X, r.Y, r.Z} {
			if math.Abs(x) < 1.959964*math.Sqrt(c[a][a]) {
				inside++
			}
		}
	}
	out.RMSEUT = math.Sqrt(sum / float64(3*n))
	out.Inside95Fraction = float64(inside) / float64(3*n)
	return out
}
