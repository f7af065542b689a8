package source

import (
	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// whitener turns columns of three rows a reading into ones whose noise is
// independent and of variance one: L^-1 W^1/2 c with L L^T the noise. A
// reading of weight w thus has its noise, own and shared, larger by w^-1/2.
type whitener struct {
	lower blas64.Triangular
	root  []float64 // the square roots of the weights, one a reading
}

func newWhitener(noise *mat.SymDense) (*whitener, error) {
	var chol mat.Cholesky
	if !chol.Factorize(noise) {
		return nil, magmath.ErrSingular
	}
	var l mat.TriDense
	chol.LTo(&l)
	w := &whitener{lower: l.RawTriangular(), root: make([]float64, noise.SymmetricDim()/3)}
	for i := range w.root {
		w.root[i] = 1
	}
	return w, nil
}

// apply whitens the columns of m in place.
func (w *whitener) apply(m blas64.General) {
	if m.Cols == 0 {
		return
	}
	for r := range m.Rows {
		row := m.Data[r*m.Stride : r*m.Stride+m.Cols]
		for c := range row {
			row[c] *= w.root[r/3]
		}
	}
	blas64.Trsm(blas.Left, blas.NoTrans, 1, w.lower, m)
}

// columnsOf is the matrix of some fields at all readings, not yet whitened:
// fields[k] are those at reading k. A field without a value, of a source right
// at the reading, counts as none: that reading says nothing of it.
func columnsOf(fields [][]r3.Vec, cols int) blas64.General {
	m := blas64.General{Rows: 3 * len(fields), Cols: cols, Stride: max(1, cols)}
	m.Data = make([]float64, m.Rows*m.Stride)
	for i, at := range fields {
		for k, v := range at {
			if !magmath.FiniteVec(v) {
				continue
			}
			m.Data[(3*i)*m.Stride+k] = v.X
			m.Data[(3*i+1)*m.Stride+k] = v.Y
			m.Data[(3*i+2)*m.Stride+k] = v.Z
		}
	}
	return m
}

func stack(b []r3.Vec) blas64.General {
	fields := make([][]r3.Vec, len(b))
	for i, v := range b {
		fields[i] = []r3.Vec{v}
	}
	return columnsOf(fields, 1)
}
