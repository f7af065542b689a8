package dwell

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"

	"quietmount/magmath"
)

// Moderate returns the estimates of a run with covariances and degrees of freedom
// that judge the scatter between the pulses of each capture by that of all; run
// is not modified. A handful of pulses tells its own scatter poorly, and the
// larger of the scatter and the noise within the pulses is then too large on
// average. Where no capture of a run scatters more than by chance, Moderate gives
// all of them the common scatter. Where some do (a rotor that stops at another
// angle, near the motor), each keeps its own as far as the captures differ.
//
// The scatter over the noise, a ratio r of variances with d degrees of freedom,
// is assumed to vary over the run as s0 times an inverse chi-square of d0
// degrees, both from the mean and the variance of its logarithm; the moderated
// ratio is (d0 s0 + d r)/(d0 + d). Fewer than three captures stay as they are.
//
// Source: G. K. Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3(1), article 3,
// the moderated variance and the moments of its prior (from memory).
func Moderate(run []PulseEstimate) []PulseEstimate {
	out := slices.Clone(run)
	d0, s0, ok := commonScatter(run)
	if !ok {
		return out
	}
	for i := range out {
		e := &out[i]
		d := 3 * e.betweenDF
		keep := d / (d0 + d)
		between := e.between.Scale(keep).Add(e.within.Scale((1 - keep) * s0))
		e.setCov(between, min((d0+d)/3, mostDF))
	}
	return out
}

// mostDF stands for a variance that is known.
const mostDF = 1e6

// commonScatter returns the degrees of freedom and the centre of the scatter
// ratios of a run, each the mean over the axes of the variance between the pulses
// over that within. It reports whether there are three captures at least.
func commonScatter(run []PulseEstimate) (d0, s0 float64, ok bool) {
	var logs []float64
	freedom := 0.0
	for _, e := range run {
		r, d, w := 0.0, 3*e.betweenDF, e.withinDF
		for k := range 3 {
			r += e.between[k][k] / e.within[k][k] / 3
		}
		if !(r > 0) || math.IsInf(r, 0) || !(d > 0) || !(w > 0) {
			continue
		}
		logs = append(logs, math.Log(r)-logBias(d)+logBias(w))
		freedom += trigamma(d/2) + trigamma(w/2)
	}
	n := float64(len(logs))
	if n < 3 {
		return 0, 0, false
	}
	mean, sd := moments(logs)
	excess := sd*sd - freedom/n
	if !(excess > 0) {
		return mostDF, math.Exp(mean), true
	}
	d0 = 2 * inverseTrigamma(excess)
	return d0, math.Exp(mean + logBias(d0)), true
}

// logBias returns the mean of the logarithm of a chi-square over its d degrees of
// freedom. Source: Abramowitz and Stegun 1964, 26.4.36 and 6.3.
func logBias(d float64) float64 { return mathext.Digamma(d/2) - math.Log(d/2) }

// trigamma returns the derivative of the digamma function, by the Hurwitz zeta
// function. Source: Abramowitz and Stegun 1964, 6.4.10.
func trigamma(x float64) float64 { return mathext.Zeta(2, x) }

// inverseTrigamma returns the positive x of which trigamma is y, by bisection of
// its logarithm.
func inverseTrigamma(y float64) float64 {
	low, high := 1e-3, mostDF
	for range 60 {
		mid := math.Sqrt(low * high)
		if trigamma(mid) > y {
			low = mid
		} else {
			high = mid
		}
	}
	return math.Sqrt(low * high)
}

// setCov sets Cov and DF from the noise within the pulses and a scatter between
// them of df degrees of freedom. It returns the share of the scatter in Cov.
func (e *PulseEstimate) setCov(between magmath.Mat3, df float64) (share float64) {
	cov, share, worth := larger(e.within, between, df)
	e.Cov = cov
	e.DF = max(1/(share/worth+(1-share)/e.withinDF), 1)
	return share
}

// larger returns the larger of two covariances of the same estimate, a with many
// degrees of freedom and b with df, which are few. In the space in which a is a
// sphere, it keeps the axes of b and takes the larger variance along each. Before
// that it draws b towards a multiple of a, as far as b departs from one no more
// than by chance: without that the largest of three chance values would count,
// and every interval would be too wide. The result is no smaller than a in any
// direction. share is the part of the result that comes from b, 0..1, and worth
// the degrees of freedom of that part: as far as b is a multiple of a, three axes
// measure one number.
//
// Source: shrinkage as in Ledoit and Wolf 2004, J. Multivariate Analysis 88,
// 365; the chance spread of p eigenvalues of mean m is (p-1)(p+2) m^2/df, from
// the second moments of the Wishart distribution (both from memory).
func larger(a, b magmath.Mat3, df float64) (out magmath.Mat3, share, worth float64) {
	var chol mat.Cholesky
	if !chol.Factorize(a.Sym()) {
		return magmath.Diagonal(max(a[0][0], b[0][0]), max(a[1][1], b[1][1]), max(a[2][2], b[2][2])), 0.5, df
	}
	var lower mat.TriDense
	chol.LTo(&lower)
	var inverse mat.Dense
	if inverse.Inverse(&lower) != nil {
		return a.Add(b), 0.5, df
	}
	root, back := magmath.Block(&lower, 0, 0), magmath.Block(&inverse, 0, 0)
	var eigen mat.EigenSym
	if !eigen.Factorize(b.Turn(back).Sym(), true) {
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
	return d.Turn(magmath.Block(&axes, 0, 0)).Turn(root), min(excess/(3+excess)*math.Sqrt2, 1), df * (3 - 2*keep)
}
