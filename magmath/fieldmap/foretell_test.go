package fieldmap

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// A reading whose error is partly that of the others is foretold as the conditional of
// the joint normal distribution says, worked out with dense matrices.
func TestForetellIsTheConditional(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 1))
	const n = 6
	d := magmath.Readings{}
	for range n {
		d.At = append(d.At, r3.Vec{X: 200 * rng.Float64(), Y: 200 * rng.Float64(), Z: -20})
		d.B = append(d.B, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	}
	p := r3.Vec{X: 90, Y: 110, Z: -25}
	// Errors of all readings and the further one: a random positive definite matrix.
	root := mat.NewDense(3*n+3, 3*n+3, nil)
	for i := range 3*n + 3 {
		for j := range 3*n + 3 {
			root.Set(i, j, 0.2*rng.NormFloat64())
		}
	}
	var noise mat.SymDense
	noise.SymOuterK(1, root)
	d.Noise = mat.NewSymDense(3*n, nil)
	across := mat.NewDense(3, 3*n, nil)
	for i := range 3 * n {
		for j := i; j < 3*n; j++ {
			d.Noise.SetSym(i, j, noise.At(i, j))
		}
		for c := range 3 {
			across.Set(c, i, noise.At(3*n+c, i))
		}
	}
	own := magmath.Block(&noise, 3*n, 3*n)
	k := Mirrored{SurfaceZMM: 0, LogSD: 0.3, LogDepth: math.Log(40)}
	m, err := Condition(t.Context(), d, k)
	if err != nil {
		t.Fatal(err)
	}
	mean, cov := m.Foretell(p, own, across)

	all := mat.NewSymDense(3*n, nil)
	all.CopySym(d.Noise)
	to := mat.NewDense(3, 3*n, nil)
	to.Copy(across)
	y := mat.NewVecDense(3*n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			magmath.AddBlock(all, 3*i, 3*j, k.K(d.At[i], d.At[j]))
		}
		b := k.K(p, d.At[i])
		for r := range 3 {
			for c := range 3 {
				to.Set(r, 3*i+c, to.At(r, 3*i+c)+b[r][c])
			}
		}
		y.SetVec(3*i, d.B[i].X)
		y.SetVec(3*i+1, d.B[i].Y)
		y.SetVec(3*i+2, d.B[i].Z)
	}
	var inv, gain, want, less mat.Dense
	if err := inv.Inverse(all); err != nil {
		t.Fatal(err)
	}
	gain.Mul(to, &inv)
	want.Mul(&gain, y)
	less.Mul(&gain, to.T())
	at := k.K(p, p).Add(own)
	for r, v := range [3]float64{mean.X, mean.Y, mean.Z} {
		if math.Abs(v-want.At(r, 0)) > 1e-6 {
			t.Errorf("mean %d: %.9f, dense %.9f", r, v, want.At(r, 0))
		}
		for c := range 3 {
			if w := at[r][c] - less.At(r, c); math.Abs(cov[r][c]-w) > 1e-6 {
				t.Errorf("covariance %d %d: %.9f, dense %.9f", r, c, cov[r][c], w)
			}
		}
	}
	plain, own2 := m.At(p)
	if mean, cov := m.Foretell(p, magmath.Mat3{}, nil); r3.Norm(r3.Sub(mean, plain)) > 1e-9 || math.Abs(cov[0][0]-own2[0][0]) > 1e-9 {
		t.Error("without errors of its own a reading is the field")
	}
}
