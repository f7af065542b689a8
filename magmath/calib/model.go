package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// point is one reading seen through a model.
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
	if p.length == 0 { // on the centre every direction is as good
		p.length, p.y = 1e-9, r3.Vec{X: 1e-9}
	}
	p.u = r3.Scale(1/p.length, p.y)
	p.v = m.Apply(p.u)
	p.gain = math.Sqrt(r3.Norm2(p.v))
	return p
}

// residual is the distance in raw space, in microtesla.
func (p point) residual(target float64) float64 { return (p.length - target) / p.gain }

// derivatives of the residual by o and by the weights of the first len(grad)-3
// shapes. With e = (n - F)/g, n = |y|, g = |M u|:
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
