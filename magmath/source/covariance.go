package source

import (
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
)

// fitted describes every element of a model.
func (s *search) fitted(q *point) []Fitted {
	cov, from := s.covariance(q)
	out := make([]Fitted, len(q.es))
	for k, e := range q.es {
		c := Fitted{Kind: e.kind, Name: e.name, e: e, x: slices.Clone(q.strengthsOf(k))}
		n := e.strengths() + len(e.coords)
		c.Cov = mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				c.Cov.SetSym(i, j, cov.At(from[k][i], from[k][j]))
			}
		}
		c.test()
		if e.kind == KindDipole {
			c.dipole()
		} else {
			c.lead()
		}
		out[k] = c
	}
	return out
}

// covariance is that of all strengths, then all coordinates, of a model:
// the inverse of the normal matrix, widened by the scale. from[k] are the rows
// of element k, strengths first.
func (s *search) covariance(q *point) (*mat.SymDense, [][]int) {
	v := s.slopes(q)
	m := q.a.Cols
	n := m + v.Cols
	normal := mat.NewSymDense(max(1, n), nil)
	for i := range m {
		for j := i; j < m; j++ {
			normal.SetSym(i, j, q.n.At(i, j))
		}
	}
	raw := normal.RawSymmetric()
	if v.Cols > 0 {
		own := blas64.Symmetric{Uplo: raw.Uplo, N: v.Cols, Stride: raw.Stride, Data: raw.Data[m*raw.Stride+m:]}
		blas64.Syrk(blas.Trans, 1, v, 0, own)
	}
	if v.Cols > 0 && m > 0 {
		cross := blas64.General{Rows: m, Cols: v.Cols, Stride: raw.Stride, Data: raw.Data[m:]}
		blas64.Gemm(blas.Trans, blas.NoTrans, 1, q.a, v, 0, cross)
	}
	from := make([][]int, len(q.es))
	a, c := 0, m
	for k, e := range q.es {
		for range e.strengths() {
			from[k] = append(from[k], a)
			a++
		}
		for i := range e.coords {
			normal.SetSym(c, c, normal.At(c, c)+1/(e.coordsSD[i]*e.coordsSD[i])+1e-9)
			from[k] = append(from[k], c)
			c++
		}
	}
	cov := mat.NewSymDense(max(1, n), nil)
	var chol mat.Cholesky
	if n == 0 || !chol.Factorize(normal) {
		return cov, from
	}
	_ = chol.InverseTo(cov) // an ill-conditioned one is still the best there is
	cov.ScaleSym(s.scale(q), cov)
	return cov, from
}
