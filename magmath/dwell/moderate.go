package dwell

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/mathext"

	"quietmount/magmath"
)

// Moderate judges the scatter between the pulses of each capture by that of
// all captures of the run, and gives them again with the covariances and
// degrees of freedom that follow. A handful of pulses knows its own scatter
// poorly, and the larger of it and the noise within the pulses is then too
// large on average; where no capture of a run scatters more than chance has
// it, none of them is taken to. Where some do (a rotor that stops at another
// angle, near the motor), each keeps to its own as far as the captures differ.
//
// The scatter over the noise, a ratio of variances with d degrees of freedom,
// is taken to vary over the run as s0 times an inverse chi-square of d0
// degrees, both from the mean and the variance of its logarithm; the moderated
// ratio is (d0 s0 + d r)/(d0 + d). Fewer than three captures stay as they are.
//
// Source: G. K. Smyth 2004, Stat. Appl. Genet. Mol. Biol. 3(1), article 3,
// the moderated variance and the moments of its prior (from memory).
func Moderate(run []PulseEstimate) []PulseEstimate {
	out := append([]PulseEstimate(nil), run...)
	d0, s0, ok := commonScatter(run)
	if !ok {
		return out
	}
	for i := range out {
		out[i].moderate(d0, s0)
	}
	return out
}

// moderate draws Between towards s0 times Within as d0 degrees of freedom do.
func (e *PulseEstimate) moderate(d0, s0 float64) {
	d := 3 * e.BetweenDF
	keep := d / (d0 + d)
	b := e.Between.Scale(keep).Add(e.Within.Scale((1 - keep) * s0))
	e.settle(b, min((d0+d)/3, mostDF))
}

// mostDF stands for a variance that is known.
const mostDF = 1e6

// scatterRatio is the scatter between the pulses over what the noise within
// them gives, the mean over the axes.
func (e PulseEstimate) scatterRatio() float64 {
	sum := 0.0
	for k := range 3 {
		sum += e.Between[k][k] / e.Within[k][k] / 3
	}
	return sum
}

// commonScatter are the prior's degrees of freedom and centre for the scatter
// ratios of a run; false where too few captures tell.
func commonScatter(run []PulseEstimate) (d0, s0 float64, ok bool) {
	var logs []float64
	freedom := 0.0
	for _, e := range run {
		r, d, w := e.scatterRatio(), 3*e.BetweenDF, e.WithinDF
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
	mean, sd := Moments(logs)
	excess := sd*sd - freedom/n
	if !(excess > 0) {
		return mostDF, math.Exp(mean), true
	}
	d0 = 2 * inverseTrigamma(excess)
	return d0, math.Exp(mean + logBias(d0)), true
}

// logBias is the mean of the logarithm of a chi-square over its d degrees of
// freedom. Source: Abramowitz and Stegun 1964, 26.4.36 and 6.3.
func logBias(d float64) float64 { return mathext.Digamma(d/2) - math.Log(d/2) }

// trigamma is the derivative of the digamma function, by the Hurwitz zeta
// function. Source: Abramowitz and Stegun 1964, 6.4.10.
func trigamma(x float64) float64 { return mathext.Zeta(2, x) }

// inverseTrigamma is the positive x whose trigamma is y, by bisection of its
// logarithm.
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

// settle sets the covariance from the noise within the pulses and a scatter
// between them of some degrees of freedom.
func (e *PulseEstimate) settle(between magmath.Mat3, df float64) (share float64) {
	cov, share, worth := larger(e.Within, between, df)
	e.Cov = cov
	e.DF = max(1/(share/worth+(1-share)/e.WithinDF), 1)
	return share
}

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
