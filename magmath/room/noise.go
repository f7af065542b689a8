package room

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// PoseCov returns the covariance that an attitude uncertain by sigmaDeg about
// every axis lays on a vector of mean b: sigma^2 [b]x [b]x^T. It has no part
// along b. First order in the angle; zero for b = 0.
func PoseCov(b r3.Vec, sigmaDeg float64) magmath.Mat3 {
	s := sigmaDeg * math.Pi / 180
	c := magmath.Cross(b)
	return c.Mul(c.Transpose()).Scale(s * s)
}

// PlaceCov returns the covariance that a place uncertain by sigmaMM along every
// axis lays on a field of gradient j (uT per mm): sigma^2 j j^T.
func PlaceCov(j magmath.Mat3, sigmaMM float64) magmath.Mat3 {
	return j.Mul(j.Transpose()).Scale(sigmaMM * sigmaMM)
}

// Noise returns the whole covariance of one observation under h.
func (o Observation) Noise(h Hyper) magmath.Mat3 {
	n := o.Cov.Add(PoseCov(o.B, h.PoseDeg)).Add(PlaceCov(o.Gradient, h.PlaceMM))
	floor := 1e-6 // (1 nT)^2: keeps a noiseless reading invertible
	return n.Add(magmath.Diagonal(floor, floor, floor))
}

// invert returns the inverse and the logarithm of the determinant of the symmetric
// positive definite m; ok is false where m is not.
func invert(m magmath.Mat3) (inv magmath.Mat3, logDet float64, ok bool) {
	inv, ok = m.Inverse()
	return inv, math.Log(m.Det()), ok && m.Positive()
}
