package magmath

import "gonum.org/v1/gonum/stat/distuv"

// surelyNot is the probability under which residuals contradict their
// uncertainties; common practice, no source.
const surelyNot = 1e-3

// Plausible reports whether a chi square of dof degrees of freedom may be chance:
// so much or more has a probability of 0.001 at least. Without degrees of freedom
// everything is plausible.
func Plausible(chi2 float64, dof int) bool {
	if dof < 1 {
		return true
	}
	return distuv.ChiSquared{K: float64(dof)}.Survival(chi2) >= surelyNot
}

// MinimumBetween returns where f is least between low and high, for an f that
// falls and then rises, to a thousandth of the span.
// Source: golden-section search, Kiefer (1953).
func MinimumBetween(f func(float64) float64, low, high float64) float64 {
	const ratio = 0.6180339887498949
	a, b := high-ratio*(high-low), low+ratio*(high-low)
	fa, fb := f(a), f(b)
	for range 15 {
		if fa <= fb {
			high, b, fb = b, a, fa
			a = high - ratio*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + ratio*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}
