package dwell

import (
	"math"

	"gonum.org/v1/gonum/mat"

	"quietmount/magmath"
)

// larger is the larger of two covariances of the same estimate, a with many
// degrees of freedom and b with the few of df. Seen in the space in which a
// is a sphere, b's axes are kept, and along each the larger of the two
// variances is taken. Before that b is drawn towards a multiple of a as far as
// its departure from one is no larger than few degrees of freedom give by
// chance: without it the largest of three chance values would count, and
// every interval would be too wide. The result is no smaller than a in any
// direction. share says how much of the result comes from b, 0..1, and worth
// how many degrees of freedom that part has: as far as b is taken for a
// multiple of a, three axes tell of one number.
//
// Source: shrinkage as in Ledoit and Wolf 2004, J. Multivariate Analysis 88,
// 365; the chance spread of p eigenvalues of mean m is (p-1)(p+2) m^2/df, from
// the second moments of the Wishart distribution (both from memory).
func larger(a, b magmath.Mat3, df float64) (out magmath.Mat3, share, worth float64) {
	sym := mat.NewSymDense(3, nil)
	for i := range 3 {
		for j := i; j < 3; j++ {
			sym.SetSym(i, j, (a[i][j]+a[j][i])/2)
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(sym) {
		return magmath.Diagonal(max(a[0][0], b[0][0]), max(a[1][1], b[1][1]), max(a[2][2], b[2][2])), 0.5, df
	}
	var lower mat.TriDense
	chol.LTo(&lower)
	var inverse mat.Dense
	if inverse.Inverse(&lower) != nil {
		return a.Add(b), 0.5, df
	}
	root, back := toMat3(&lower), toMat3(&inverse)
	turned := b.Turn(back)
	for i := range 3 {
		for j := i; j < 3; j++ {
			sym.SetSym(i, j, (turned[i][j]+turned[j][i])/2)
		}
	}
	var eigen mat.EigenSym
	if !eigen.Factorize(sym, true) {
		return a.Add(b), 0.5, df
	}
	var axes mat.Dense
	eigen.VectorsTo(&axes)
	values := eigen.Values(nil)
	mean := (values[0] + values[1] + values[2]) / 3
	departure := 0.0
	for _, v := range values {
		departure += (v - mean) * (v - mean)
	}
	keep := 0.0
	if departure > 0 {
		keep = max(0, 1-10*mean*mean/(df*departure))
	}
	excess := 0.0
	var grown [3]float64
	for k, v := range values {
		grown[k] = max(mean+keep*(v-mean), 1)
		excess += grown[k] - 1
	}
	d := magmath.Diagonal(grown[0], grown[1], grown[2])
	return d.Turn(toMat3(&axes)).Turn(root), min(excess/(3+excess)*math.Sqrt2, 1), df * (3 - 2*keep)
}

func toMat3(m mat.Matrix) magmath.Mat3 {
	var out magmath.Mat3
	for i := range 3 {
		for j := range 3 {
			out[i][j] = m.At(i, j)
		}
	}
	return out
}
