package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// M is the identity plus a weighted sum of six symmetric matrices of unit norm:
// the common gain, two differences of gains and three cross terms. With the
// offset, none of them makes the model of three parameters, the first that of
// four, the first three that of six, all six that of nine.
const nShapes = 6

// shapes are read only.
var shapes = [nShapes]magmath.Mat3{
	magmath.Diagonal(1/math.Sqrt(3), 1/math.Sqrt(3), 1/math.Sqrt(3)),
	magmath.Diagonal(1/math.Sqrt2, -1/math.Sqrt2, 0),
	magmath.Diagonal(1/math.Sqrt(6), 1/math.Sqrt(6), -2/math.Sqrt(6)),
	{{0, 1 / math.Sqrt2, 0}, {1 / math.Sqrt2, 0, 0}, {0, 0, 0}},
	{{0, 0, 1 / math.Sqrt2}, {0, 0, 0}, {1 / math.Sqrt2, 0, 0}},
	{{0, 0, 0}, {0, 0, 1 / math.Sqrt2}, {0, 1 / math.Sqrt2, 0}},
}

// shapesOf returns the number of shapes in a model with that many parameters.
func shapesOf(parameters int) int { return parameters - 3 }

// matrixOf returns the identity plus the shapes weighted by e.
func matrixOf(e []float64) magmath.Mat3 {
	m := magmath.Identity()
	for j, v := range e {
		m = m.Add(shapes[j].Scale(v))
	}
	return m
}

// priorVariances returns the prior variances of the six weights. The gains are
// independent; the unknown strength of the field is common to all three.
func (o Options) priorVariances() [nShapes]float64 {
	g, c := o.Prior.Gain*o.Prior.Gain, 2*o.Prior.Cross*o.Prior.Cross
	f := o.ReferenceStandardUT / o.ReferenceUT
	return [nShapes]float64{g + 3*f*f, g, g, c, c, c}
}

// eigenvalues returns those of a symmetric matrix, ascending.
//
// Source: Smith 1961, Communications of the ACM 4, 168 (from memory).
func eigenvalues(m magmath.Mat3) [3]float64 {
	q := m.Trace() / 3
	p2 := 2 * (m[0][1]*m[0][1] + m[0][2]*m[0][2] + m[1][2]*m[1][2])
	for i := range 3 {
		p2 += (m[i][i] - q) * (m[i][i] - q)
	}
	p := math.Sqrt(p2 / 6)
	if p == 0 {
		return [3]float64{q, q, q}
	}
	half := m.Add(magmath.Diagonal(-q, -q, -q)).Scale(1/p).Det() / 2
	phi := math.Acos(min(max(half, -1), 1)) / 3
	largest, smallest := q+2*p*math.Cos(phi), q+2*p*math.Cos(phi+2*math.Pi/3)
	return [3]float64{smallest, 3*q - largest - smallest, largest}
}

// maxCondition is the largest ratio of the largest to the smallest gain of M.
const maxCondition = 5

// allowed reports whether M is positive definite and its condition within
// bounds.
func allowed(m magmath.Mat3) bool {
	l := eigenvalues(m)
	return l[0] > 0.05 && l[2] <= maxCondition*l[0]
}

// point is one reading corrected by a model, with the quantities that its
// residual and derivatives need.
type point struct {
	y      r3.Vec  // M (raw - o)
	length float64 // |y|
	u      r3.Vec  // y/|y|
	v      r3.Vec  // M u
	gain   float64 // |M u|
}

func see(m magmath.Mat3, o, raw r3.Vec) point {
	var p point
	p.y = m.Apply(r3.Sub(raw, o))
	p.length = math.Sqrt(r3.Norm2(p.y))
	if p.length == 0 { // on the centre any direction will do
		p.length, p.y = 1e-9, r3.Vec{X: 1e-9}
	}
	p.u = r3.Scale(1/p.length, p.y)
	p.v = m.Apply(p.u)
	p.gain = math.Sqrt(r3.Norm2(p.v))
	return p
}

// residual returns the distance from the ellipsoid in raw space, microtesla.
func (p point) residual(target float64) float64 { return (p.length - target) / p.gain }

// derivatives fills grad with the derivatives of the residual by o and by the
// weights of the first len(grad)-3 shapes. With e = (n - F)/g, n = |y|, g = |M u|:
//
//	de = dn/g - (n - F)/g^2 dg,  dn = u.dy,  dg = (M u).(dM u + M du)/g,
//	du = (dy - u dn)/n
//
// where dy = -M do for the offset and dM (raw - o) for the shape.
func (p point) derivatives(m magmath.Mat3, o, raw r3.Vec, target float64, grad []float64) {
	mv := r3.Scale(1/p.gain, m.Apply(p.v)) // M (M u)/g
	slope := p.residual(target) / p.gain
	column := m.Apply(mv)
	for k, pair := range [3][2]float64{{p.v.X, column.X}, {p.v.Y, column.Y}, {p.v.Z, column.Z}} {
		dn := -pair[0]
		dg := (-pair[1] - p.gain*dn) / p.length
		grad[k] = dn/p.gain - slope*dg
	}
	if len(grad) > 3 {
		var byShape [nShapes]float64
		p.byShape(mv, r3.Sub(raw, o), slope, &byShape)
		copy(grad[3:], byShape[:])
	}
}

// byShape fills the derivatives by the weights of the shapes. With dM = B both
// dn and dg are linear in B, so the residual's derivative is the sum of B_ij
// G_ij with
//
//	G = u d^T/g - slope (v u^T/g + (mv - g u) d^T/n)
func (p point) byShape(mv, d r3.Vec, slope float64, out *[nShapes]float64) {
	// G = a d^T - b u^T
	a := r3.Sub(r3.Scale((1/p.gain)+slope*p.gain/p.length, p.u), r3.Scale(slope/p.length, mv))
	b := r3.Scale(slope/p.gain, p.v)
	xx, yy, zz := a.X*d.X-b.X*p.u.X, a.Y*d.Y-b.Y*p.u.Y, a.Z*d.Z-b.Z*p.u.Z
	out[0] = (xx + yy + zz) / math.Sqrt(3)
	out[1] = (xx - yy) / math.Sqrt2
	out[2] = (xx + yy - 2*zz) / math.Sqrt(6)
	out[3] = (a.X*d.Y - b.X*p.u.Y + a.Y*d.X - b.Y*p.u.X) / math.Sqrt2
	out[4] = (a.X*d.Z - b.X*p.u.Z + a.Z*d.X - b.Z*p.u.X) / math.Sqrt2
	out[5] = (a.Y*d.Z - b.Y*p.u.Z + a.Z*d.Y - b.Z*p.u.Y) / math.Sqrt2
}
