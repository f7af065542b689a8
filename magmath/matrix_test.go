package magmath

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// Inverse, Positive and Mahalanobis against gonum's LU and Cholesky.
func TestInverseAgainstGonum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 3))
	for range 200 {
		var m Mat3
		for i := range 3 {
			for j := range 3 {
				m[i][j] = rng.NormFloat64()
			}
		}
		got, ok := m.Inverse()
		var want mat.Dense
		if err := want.Inverse(mat.NewDense(3, 3, []float64{m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2]})); err != nil || !ok {
			t.Fatalf("%v: ok %v, %v", m, ok, err)
		}
		for i := range 3 {
			for j := range 3 {
				if w := want.At(i, j); math.Abs(got[i][j]-w) > 1e-9*(1+math.Abs(w))*mat.Norm(&want, 2) {
					t.Errorf("%v: inverse[%d][%d] = %g, want %g", m, i, j, got[i][j], w)
				}
			}
		}
		c := m.Mul(m.Transpose())
		sym := mat.NewSymDense(3, nil)
		for i := range 3 {
			for j := i; j < 3; j++ {
				sym.SetSym(i, j, c[i][j])
			}
		}
		var chol mat.Cholesky
		v := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		var x mat.VecDense
		if !c.Positive() || !chol.Factorize(sym) || chol.SolveVecTo(&x, mat.NewVecDense(3, []float64{v.X, v.Y, v.Z})) != nil {
			t.Fatalf("%v: not taken for positive definite", c)
		}
		if d, w := Mahalanobis(v, c), v.X*x.AtVec(0)+v.Y*x.AtVec(1)+v.Z*x.AtVec(2); math.Abs(d-w) > 1e-6*w {
			t.Errorf("distance %g, want %g", d, w)
		}
	}
}

func TestInverseOfNone(t *testing.T) {
	for _, m := range []Mat3{{}, Outer(r3.Vec{X: 1, Y: 2, Z: 3}, r3.Vec{X: 1}), Diagonal(1, 1, math.NaN()), Diagonal(1, math.Inf(1), 1)} {
		if inv, ok := m.Inverse(); ok || inv != (Mat3{}) {
			t.Errorf("%v: inverse %v, %v", m, inv, ok)
		}
	}
	for _, m := range []Mat3{{}, Diagonal(-1, 1, 1), Diagonal(1, -1, -1), Diagonal(1, 1, math.NaN())} {
		if m.Positive() || !math.IsInf(Mahalanobis(r3.Vec{X: 1}, m), 1) {
			t.Errorf("%v is taken for positive definite", m)
		}
	}
}
