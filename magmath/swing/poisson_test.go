package swing

import "math"

// exactAtCompass is the deviation at a compass heading: the solution of
// deviation = Exact(compass + deviation). NaN where it is not found: the
// curve turns back on itself when B and C together come near 1.
func (c Coefficients) exactAtCompass(compassDeg float64) float64 {
	d := 0.0
	for range 200 {
		next := c.Exact(compassDeg + d)
		if math.Abs(next-d) < 1e-12 {
			return next
		}
		d = (d + next) / 2
	}
	return math.NaN()
}

// poisson are the coefficients of Poisson's equations: induced a to k without
// dimension, permanent P, Q, R in microtesla, in the craft frame.
//
// Source: X' = X + aX + bY + cZ + P and so on; Archibald Smith in the
// Admiralty Manual for the Deviations of the Compass (from memory).
type poisson struct {
	AA, BB, CC, DD, EE, FF, GG, HH, KK float64
	P, Q, R                            float64
}

// coefficients are the exact coefficients at a place where the field is
// horizontally hUT and downwards zUT microtesla, and lambda, the mean force to
// north over the undisturbed one. Nothing comes of an hUT of zero: NaN.
func (p poisson) coefficients(hUT, zUT float64) (c Coefficients, lambda float64) {
	lambda = 1 + (p.AA+p.EE)/2
	dip := zUT / hUT
	return Coefficients{
		A: (p.DD - p.BB) / (2 * lambda),
		B: (p.CC*dip + p.P/hUT) / lambda,
		C: (p.FF*dip + p.Q/hUT) / lambda,
		D: (p.AA - p.EE) / (2 * lambda),
		E: (p.DD + p.BB) / (2 * lambda),
	}, lambda
}
