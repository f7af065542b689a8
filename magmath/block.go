package magmath

import "gonum.org/v1/gonum/mat"

// Block returns the three rows from row and three columns from col of m.
func Block(m mat.Matrix, row, col int) Mat3 {
	var out Mat3
	for i := range 3 {
		for j := range 3 {
			out[i][j] = m.At(row+i, col+j)
		}
	}
	return out
}

// AddBlock adds b to the three rows from row and three columns from col of a
// symmetric m. What would lie below the diagonal of m is left out: of two
// blocks that mirror each other, the one with row < col counts.
func AddBlock(m *mat.SymDense, row, col int, b Mat3) {
	raw := m.RawSymmetric()
	for i := range 3 {
		for j := range 3 {
			if u, v := row+i, col+j; u <= v {
				raw.Data[u*raw.Stride+v] += b[i][j]
			}
		}
	}
}

// Sym returns the symmetric part of m.
func (m Mat3) Sym() *mat.SymDense {
	s := mat.NewSymDense(3, nil)
	AddBlock(s, 0, 0, m.Add(m.Transpose()).Scale(0.5))
	return s
}
