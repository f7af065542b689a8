package heading

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat"

	"quietmount/magmath"
)

func randomCov(r *rand.Rand, rank int, scale float64) magmath.Mat3 {
	var cov magmath.Mat3
	for range rank {
		v := r3.Vec{X: scale * r.NormFloat64(), Y: scale * r.NormFloat64(), Z: scale * r.NormFloat64()}
		cov = cov.Add(magmath.Outer(v, v))
	}
	return cov
}

// The root squared is the covariance, to rounding, whatever the rank and size.
func TestRootSquared(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 0))
	for trial := range 200 {
		scale := math.Pow(10, float64(trial%9)-4)
		cov := randomCov(r, trial%4, scale)
		a := root(cov)
		got := a.Mul(a)
		for i := range 3 {
			for j := range 3 {
				equalWithin(t, "root squared", got[i][j], cov[i][j], 1e-13*cov.Trace())
				equalWithin(t, "symmetry", a[i][j], a[j][i], 1e-15*math.Sqrt(cov.Trace()))
			}
		}
	}
}

// An indefinite matrix against gonum's eigenvalues with the negative ones cut.
func TestRootClips(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 0))
	for range 50 {
		cov := randomCov(r, 3, 1).Add(magmath.Identity().Scale(-1.5))
		a := root(cov)
		got := a.Mul(a)
		var eigen mat.EigenSym
		if !eigen.Factorize(mat.NewSymDense(3, slices.Concat(cov[0][:], cov[1][:], cov[2][:])), true) {
			t.Fatal("no eigenvalues")
		}
		var v mat.Dense
		eigen.VectorsTo(&v)
		for i := range 3 {
			for j := range 3 {
				want := 0.0
				for k, l := range eigen.Values(nil) {
					want += max(l, 0) * v.At(i, k) * v.At(j, k)
				}
				equalWithin(t, "clipped", got[i][j], want, 1e-12)
			}
		}
	}
}

func TestQuantile(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 0))
	var o ordered
	for n := 1; n < 200; n++ {
		xs := make([]float64, n)
		for i := range xs {
			xs[i] = math.Floor(r.Float64() * float64(1+n%40)) // with ties
		}
		sorted := slices.Sorted(slices.Values(xs))
		o.of(xs)
		for k := range n {
			if got := o.at(k); got != sorted[k] {
				t.Fatalf("n = %d: number %d is %g, want %g", n, k, got, sorted[k])
			}
		}
		for _, p := range []float64{0, 0.5, 0.95, 1} {
			pos := min(max(p*float64(n)-0.5, 0), float64(n-1))
			low := int(pos)
			want := sorted[low] + (pos-float64(low))*(sorted[min(low+1, n-1)]-sorted[low])
			equalWithin(t, "quantile", o.quantile(p), want, 1e-12)
		}
	}
	// Source: Hyndman and Fan (1996), definition 5: p_k = (k - 1/2)/n.
	o.of([]float64{4, 1, 3, 2})
	equalWithin(t, "median of four", o.quantile(0.5), 2.5, 0)
	equalWithin(t, "p of the third of four", o.quantile(2.5/4), 3, 0)
	// Values that no intervals of equal width can part.
	for _, xs := range [][]float64{{7, 7, 7}, {3, 2, 1e300}, {-1e308, 2, 1e308}, {0, 5e-324, 0}} {
		o.of(xs)
		slices.Sort(xs)
		for k, want := range slices.Clone(xs) {
			o.of(xs)
			equalWithin(t, "order", o.at(k), want, 0)
		}
	}
}

// Zero mean and unit covariance by construction; nothing beyond what normal
// points of this number may show in the fourth moment, 3 +- 0.1.
func TestNormalPoints(t *testing.T) {
	const dimensions = 12
	z := normalPoints(dimensions)
	var cov mat.SymDense
	stat.CovarianceMatrix(&cov, z, nil)
	column := make([]float64, draws)
	for i := range dimensions {
		mat.Col(column, i, z)
		equalWithin(t, "mean", stat.Mean(column, nil), 0, 1e-12)
		fourth := 0.0
		for _, x := range column {
			fourth += x * x * x * x / draws
		}
		equalWithin(t, "fourth moment", fourth, 3, 0.1)
		for j := range dimensions {
			want := 0.0
			if i == j {
				want = 1
			}
			equalWithin(t, "covariance", cov.At(i, j), want, 1e-12)
		}
	}
	few := normalPoints(3)
	for i := range draws {
		for j := range 3 {
			equalWithin(t, "first columns", few.At(i, j), z.At(i, j), 1e-12)
		}
	}
}
