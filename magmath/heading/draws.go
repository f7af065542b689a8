package heading

import (
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distmv"
	"gonum.org/v1/gonum/stat/distuv"
	"gonum.org/v1/gonum/stat/samplemv"

	"quietmount/magmath"
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

// keptPoints holds the points of normalPoints by their number of dimensions:
// computing them takes milliseconds, and every map asks for them several times.
var keptPoints sync.Map

// normalPoints returns draws points of the standard normal distribution in the
// given number of dimensions, one a row: a scrambled Halton sequence sent
// through the normal quantile, then shifted and sheared so that its mean is
// exactly zero and its covariance exactly the unit matrix. They are the same
// in every run, and the first columns do not depend on how many there are. The
// caller must not change them.
//
// Source: Owen (2017), A randomized Halton algorithm in R, arXiv 1706.02808;
// moment matching: Glasserman (2004), Monte Carlo Methods in Financial
// Engineering, section 4.5.
func normalPoints(dimensions int) *mat.Dense {
	if kept, ok := keptPoints.Load(dimensions); ok {
		return kept.(*mat.Dense)
	}
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
	kept, _ := keptPoints.LoadOrStore(dimensions, whiten(points))
	return kept.(*mat.Dense)
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

// root returns the symmetric square root of a covariance: root times itself is the
// covariance. Unlike a Cholesky factor it exists and is continuous where the
// covariance is singular. The matrix is made symmetric first, and negative
// eigenvalues, which rounding leaves in a singular matrix, count as zero.
//
// Source: Golub and Van Loan (2013), Matrix Computations, 4th ed., section 8.5
// (cyclic Jacobi).
func root(cov magmath.Mat3) magmath.Mat3 {
	a := cov.Add(cov.Transpose()).Scale(0.5)
	v := magmath.Identity()
	for range maxSweeps {
		off := math.Abs(a[0][1]) + math.Abs(a[0][2]) + math.Abs(a[1][2])
		if off <= 1e-15*(math.Abs(a[0][0])+math.Abs(a[1][1])+math.Abs(a[2][2])) {
			break
		}
		rotate(&a, &v, 0, 1)
		rotate(&a, &v, 0, 2)
		rotate(&a, &v, 1, 2)
	}
	var out magmath.Mat3
	for k := range 3 {
		s := math.Sqrt(max(a[k][k], 0))
		for i := range 3 {
			for j := range 3 {
				out[i][j] += s * v[i][k] * v[j][k]
			}
		}
	}
	return out
}

// maxSweeps is more than the four or five that a 3 by 3 matrix takes.
const maxSweeps = 20

// rotate zeroes a[p][q] by a plane rotation and gathers it in v.
func rotate(a, v *magmath.Mat3, p, q int) {
	if a[p][q] == 0 {
		return
	}
	tau := (a[q][q] - a[p][p]) / (2 * a[p][q])
	t := math.Copysign(1/(math.Abs(tau)+math.Hypot(1, tau)), tau)
	c := 1 / math.Hypot(1, t)
	s := t * c
	for k := range 3 {
		a[k][p], a[k][q] = c*a[k][p]-s*a[k][q], s*a[k][p]+c*a[k][q]
	}
	for k := range 3 {
		a[p][k], a[q][k] = c*a[p][k]-s*a[q][k], s*a[p][k]+c*a[q][k]
	}
	for k := range 3 {
		v[k][p], v[k][q] = c*v[k][p]-s*v[k][q], s*v[k][p]+c*v[k][q]
	}
}

// bins is the number of equal intervals that ordered sorts values into. With
// draws values few lie in one.
const bins = 1024

// ordered finds order statistics of the same values without sorting all of
// them: it counts how many lie in each of equal intervals from the smallest to the
// largest, and sorts the values of one interval only.
//
// Source: distribution counting, Knuth (1998), The Art of Computer Programming,
// vol. 3, 2nd ed., section 5.2.
type ordered struct {
	values []float64 // as they came
	bin    []uint16  // of each value
	below  [bins + 1]int
	few    []float64 // those of one bin
}

// of takes the values, which must be numbers, at least one, and are kept and not
// changed.
func (o *ordered) of(values []float64) {
	low, high := values[0], values[0]
	for _, v := range values {
		if v < low {
			low = v
		}
		if v > high {
			high = v
		}
	}
	scale := (bins - 1) / (high - low)
	apart := scale > 0 && scale <= math.MaxFloat64 // else equal, or too close or too far apart to divide by: all go into one bin
	o.values, o.bin = values, o.bin[:0]
	clear(o.below[:])
	for _, v := range values {
		var b uint16
		if apart {
			b = uint16(scale * (v - low))
		}
		o.bin = append(o.bin, b)
		o.below[b+1]++
	}
	for b := range bins {
		o.below[b+1] += o.below[b]
	}
}

// at returns the value with k smaller ones before it.
func (o *ordered) at(k int) float64 {
	b, _ := slices.BinarySearch(o.below[1:], k+1)
	o.few = o.few[:0]
	for i, bin := range o.bin {
		if int(bin) == b {
			o.few = append(o.few, o.values[i])
		}
	}
	slices.Sort(o.few)
	return o.few[k-o.below[b]]
}

// quantile returns the p-quantile by linear interpolation between order statistics,
// the k-th of n counted as the (k-1/2)/n quantile.
//
// Source: Hyndman and Fan (1996), Sample quantiles in statistical packages,
// The American Statistician 50, definition 5.
func (o *ordered) quantile(p float64) float64 {
	n := len(o.values)
	pos := min(max(p*float64(n)-0.5, 0), float64(n-1))
	k := int(pos)
	low := o.at(k)
	if k+1 >= n {
		return low
	}
	return low + (pos-float64(k))*(o.at(k+1)-low)
}
