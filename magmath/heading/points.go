package heading

import (
	"math/rand/v2"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distmv"
	"gonum.org/v1/gonum/stat/distuv"
	"gonum.org/v1/gonum/stat/samplemv"
)

const (
	// draws is the number of points that stand for a distribution. What that
	// leaves open, measured against exact integration and large random samples,
	// is about 0.01 standard deviations in the median and 0.03 in the 0.95
	// quantile, rarely twice as much.
	draws = 2048
	// scramble seeds the scrambling of the points; any number would do.
	scramble = 20250101
)

// normalPoints returns draws points of the standard normal distribution in the
// given number of dimensions, one a row: a scrambled Halton sequence sent
// through the normal quantile, then shifted and sheared so that its mean is
// exactly zero and its covariance exactly the unit matrix. They are the same
// in every run, and the first columns do not depend on how many there are.
//
// Source: Owen (2017), A randomized Halton algorithm in R, arXiv 1706.02808;
// moment matching: Glasserman (2004), Monte Carlo Methods in Financial
// Engineering, section 4.5.
func normalPoints(dimensions int) *mat.Dense {
	points := mat.NewDense(draws, dimensions, nil)
	samplemv.Halton{
		Kind: samplemv.Owen,
		Q:    distmv.NewUnitUniform(dimensions, nil),
		Src:  rand.NewPCG(scramble, 0),
	}.Sample(points)
	points.Apply(func(_, _ int, u float64) float64 { return distuv.UnitNormal.Quantile(u) }, points)
	for j := range dimensions {
		mean := mat.Sum(points.ColView(j)) / draws
		for i := range draws {
			points.Set(i, j, points.At(i, j)-mean)
		}
	}
	return whiten(points)
}

// whiten turns centred points into points of unit covariance. The factor is
// triangular, so a column is changed by the columns before it only.
func whiten(points *mat.Dense) *mat.Dense {
	var cov mat.SymDense
	stat.CovarianceMatrix(&cov, points, nil)
	var chol mat.Cholesky
	if !chol.Factorize(&cov) {
		return points // fewer points than dimensions: cannot happen below hundreds of loads
	}
	var lower mat.TriDense
	chol.LTo(&lower)
	var out mat.Dense
	if err := out.Solve(&lower, points.T()); err != nil {
		return points // as above
	}
	return mat.DenseCopyOf(out.T())
}
