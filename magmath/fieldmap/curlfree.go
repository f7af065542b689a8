package fieldmap

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// CurlFree is the covariance of the gradient of a potential with
// squared-exponential covariance: fields drawn from it have no curl, as in
// space free of currents, but may have divergence. It holds wherever the
// sources lie, also beside and above the stations.
//
//	K(p, q) = s^2 (I - r r^T/l^2) exp(-|r|^2/(2 l^2)), r = p - q,
//
// s the standard deviation of a component, l the length.
// Source: N. Wahlstrom, M. Kok, T. B. Schon, F. Gustafsson, Modeling magnetic
// fields using Gaussian processes, ICASSP 2013; A. Solin et al., IEEE Trans.
// Robotics 34 (2018) 1112; checked here by finite differences of the
// potential's covariance.
type CurlFree struct {
	LogSD     float64 // of a component, uT
	LogLength float64 // mm
}

// Name implements Kernel.
func (CurlFree) Name() string { return "curl-free, sources anywhere" }

// Params implements Kernel.
func (c CurlFree) Params() []float64 { return []float64{c.LogSD, c.LogLength} }

// With implements Kernel.
func (CurlFree) With(p []float64) Kernel { return CurlFree{p[0], p[1]} }

// parts are r r^T/l^2, s^2 exp(-u) and u = |r|^2/(2 l^2).
func (c CurlFree) parts(p, q r3.Vec) (outer magmath.Mat3, v, u float64) {
	r := r3.Scale(math.Exp(-c.LogLength), r3.Sub(p, q))
	u = r3.Norm2(r) / 2
	return magmath.Outer(r, r), math.Exp(2*c.LogSD - u), u
}

// K implements Kernel.
func (c CurlFree) K(p, q r3.Vec) magmath.Mat3 {
	outer, v, _ := c.parts(p, q)
	return magmath.Diagonal(v, v, v).Add(outer.Scale(-v))
}

// Slopes implements Kernel.
func (c CurlFree) Slopes(p, q r3.Vec, into []magmath.Mat3) {
	outer, v, u := c.parts(p, q)
	into[0] = magmath.Diagonal(2*v, 2*v, 2*v).Add(outer.Scale(-2 * v))
	into[1] = magmath.Diagonal(2*u*v, 2*u*v, 2*u*v).Add(outer.Scale(2 * v * (1 - u)))
}
