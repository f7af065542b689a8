package change

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
)

// overallP is the probability below which the overall test finds a change.
const overallP = 0.02

// wellKnown is the number of degrees of freedom below which the overall test doubts a
// station's covariance.
const wellKnown = 10

// spreadDepthsMM are the depths under the stations at which the overall test looks
// for sources: nearer ones show at single stations, and the fields of farther ones
// are alike at all.
func spreadDepthsMM() []float64 { return []float64{60, 150} }

// overall tests whether the differences hold the field of sources under the
// stations, too weak to show at any one station. If something changed, the
// differences gain a covariance s K, with K that of harmonic fields; with D and V as in Compare, the
// locally most powerful test of s = 0 is by T = (V^-1 D)^T K (V^-1 D). With V = L
// L^T and nothing changed, T is the sum of x^2 times the eigenvalues of L^-1 K L^-T, x normal.
//
// The errors of the covariances are common to the stations (the same hand) and do
// not average out: the probability is the mean over the scales that the least
// degrees of freedom among the well-known stations allow; the others enter with twice
// their covariance. A station out of the clean set enters with the covariance of a
// long slip too, so that no single one decides.
//
// Source: C. R. Rao, Large sample tests of statistical hypotheses (1948), the
// score test; here of a variance component.
func (r *Result) overall(at []r3.Vec) error {
	r.OverallP = math.NaN()
	if at == nil {
		return nil
	}
	n := r.c.n
	v := mat.NewSymDense(3*n, nil)
	v.CopySym(r.c.v)
	freedom, level := math.Inf(1), math.Inf(-1)
	for i := range r.Stations {
		level = max(level, at[i].Z)
		if r.c.slips != nil && !r.Stations[i].Clean {
			magmath.AddBlock(v, 3*i, 3*i, r.c.slips[i])
		}
		switch {
		case r.c.f == nil:
		case r.c.f[i] < wellKnown:
			magmath.AddBlock(v, 3*i, 3*i, magmath.Block(r.c.c, 3*i, 3*i))
		default:
			freedom = min(freedom, r.c.f[i])
		}
	}
	d := mat.NewVecDense(3*n, r.c.d)
	var chol mat.Cholesky
	if !chol.Factorize(v) {
		return magmath.ErrSingular
	}
	for _, depth := range spreadDepthsMM() {
		kernel := fieldmap.Mirrored{SurfaceZMM: level, LogDepth: math.Log(depth)}
		k := mat.NewDense(3*n, 3*n, nil)
		for i := range n {
			for j := range n {
				m := kernel.K(at[i], at[j])
				for a := range 3 {
					for b := range 3 {
						k.Set(3*i+a, 3*j+b, m[a][b])
					}
				}
			}
		}
		p, err := scoreTest(&chol, k, d, freedom)
		if err != nil {
			return err
		}
		if p *= float64(len(spreadDepthsMM())); !(p >= r.OverallP) { // Bonferroni
			r.OverallP = min(1, p)
		}
	}
	r.Changed = r.Changed || r.OverallP < overallP
	return nil
}

// scoreTest returns the probability of a T larger than that of d if its covariance
// is the one factorised. It overwrites k.
func scoreTest(chol *mat.Cholesky, k *mat.Dense, d *mat.VecDense, freedom float64) (float64, error) {
	u := chol.RawU().(mat.RawTriangular).RawTriangular() // V = U^T U
	blas64.Trsm(blas.Left, blas.Trans, 1, u, k.RawMatrix())
	blas64.Trsm(blas.Right, blas.NoTrans, 1, u, k.RawMatrix())
	n, _ := k.Dims()
	a := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			a.SetSym(i, j, (k.At(i, j)+k.At(j, i))/2)
		}
	}
	white := mat.VecDenseCopyOf(d)
	blas64.Trsv(blas.Trans, u, white.RawVector())
	t := mat.Inner(white, a, white)
	var eigen mat.EigenSym
	if !eigen.Factorize(a, false) {
		return 0, magmath.ErrSingular
	}
	weights := eigen.Values(nil)
	most := slices.Max(weights)
	weights = slices.DeleteFunc(weights, func(w float64) bool { return !(w > 1e-9*most) })
	if !(freedom < exactlyKnown) {
		return weightedChiSquares(weights, t), nil
	}
	const parts = 20
	sum := 0.0
	for i := range parts {
		scale := distuv.ChiSquared{K: freedom}.Quantile((float64(i)+0.5)/parts) / freedom
		sum += weightedChiSquares(weights, t*scale)
	}
	return sum / parts, nil
}

// weightedChiSquares returns the probability that the sum of squares of
// independent normal variables, each times a positive weight, exceeds t.
// Source: D. Kuonen (1999), Saddlepoint approximations for distributions of
// quadratic forms in normal variables, Biometrika 86, 929-935.
func weightedChiSquares(weights []float64, t float64) float64 {
	// The cumulant generating function and its first two derivatives.
	generating := func(s float64) (k, k1, k2 float64) {
		for _, w := range weights {
			q := w / (1 - 2*s*w)
			k -= math.Log(1-2*s*w) / 2
			k1 += q
			k2 += 2 * q * q
		}
		return k, k1, k2
	}
	mean, most := 0.0, slices.Max(weights)
	for _, w := range weights {
		mean += w
	}
	if !(t > 0) {
		return 1
	}
	if math.Abs(t-mean) < 1e-4*mean { // the formula has a removable singularity there
		return (weightedChiSquares(weights, mean*(1-2e-4)) + weightedChiSquares(weights, mean*(1+2e-4))) / 2
	}
	low, high := -float64(len(weights))/(2*t), 1/(2*most) // k1 rises from below t to infinity
	for range 200 {
		s := (low + high) / 2
		if _, k1, _ := generating(s); k1 < t {
			low = s
		} else {
			high = s
		}
	}
	s := low
	k, _, k2 := generating(s)
	w := math.Copysign(math.Sqrt(max(0, 2*(s*t-k))), s)
	v := s * math.Sqrt(k2)
	return distuv.UnitNormal.Survival(w + math.Log(v/w)/w)
}
