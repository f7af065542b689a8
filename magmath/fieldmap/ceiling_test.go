package fieldmap

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// A ceiling less the covariance itself has no negative eigenvalue, for readings
// that share noise, beside a source, and after that source has moved; Means are
// the means. Few readings make a ceiling exact.
func TestCeilingIsNowhereSmaller(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	for _, n := range []int{ceilingReadings - 4, 90} {
		d := magmath.Readings{Noise: mat.NewSymDense(3*n, nil)}
		common := mat.NewVecDense(3*n, nil)
		for i := range n {
			d.At = append(d.At, r3.Vec{X: 300 * rng.Float64(), Y: 200 * rng.Float64(), Z: -5 * rng.Float64()})
			d.B = append(d.B, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
			for a := range 3 {
				d.Noise.SetSym(3*i+a, 3*i+a, 0.01+0.01*rng.Float64())
				common.SetVec(3*i+a, 0.05*rng.NormFloat64())
			}
		}
		d.Noise.SymRankOne(d.Noise, 1, common)
		towards := func(x float64) func(p r3.Vec) []r3.Vec {
			return func(p r3.Vec) []r3.Vec { return []r3.Vec{r3.Scale(1e-3, r3.Sub(p, r3.Vec{X: x, Y: 90, Z: 40}))} }
		}
		m, err := Condition(t.Context(), d, Sum{Mirrored{0, 0, math.Log(30)}, Smooth{-2, math.Log(40)}}, Source{Name: "invented", Fields: towards(100), LogSD: 1})
		if err != nil {
			t.Fatal(err)
		}
		var points []r3.Vec
		for range 150 {
			points = append(points, r3.Vec{X: 340*rng.Float64() - 20, Y: 240*rng.Float64() - 20, Z: -20 * rng.Float64()})
		}
		for _, m := range []*Map{m, m.After(nil, towards(160))} {
			mean, cov := m.Predict(points)
			means, ceiling := m.Means(points), m.Ceiling(points)
			wider := 0
			for i := range points {
				if off := r3.Norm(r3.Sub(mean[i], means[i])); off > 1e-9 {
					t.Errorf("%d readings: mean off by %g", n, off)
				}
				diff := mat.NewSymDense(3, nil)
				for a := range 3 {
					for b := a; b < 3; b++ {
						diff.SetSym(a, b, ceiling[i][a][b]-cov[i][a][b])
					}
				}
				var eigen mat.EigenSym
				if !eigen.Factorize(diff, false) {
					t.Fatal("no eigenvalues")
				}
				v := eigen.Values(nil)
				// The jitter of two factorizations, 1e-10 of a variance, may differ.
				if v[0] < -1e-7*cov[i].Trace() {
					t.Errorf("%d readings: a ceiling is smaller by %g", n, -v[0])
				}
				if v[2] > 1e-7*cov[i].Trace() {
					wider++
				}
			}
			if n <= ceilingReadings && wider > 0 || n > ceilingReadings && wider == 0 {
				t.Errorf("%d readings: %d of %d ceilings are wider", n, wider, len(points))
			}
		}
	}
}
