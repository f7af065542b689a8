package dwell

import (
	"math"

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
