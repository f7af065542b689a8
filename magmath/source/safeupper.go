package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// SafeDistanceUpper95 is the bound that the source's compass-safe distance
// exceeds with a probability of 5 %, by the covariance of its fit. relativeSD
// is what else its strength is uncertain by, as a share: the current of a
// load, 0 for none. For a lead it is the distance at which the upper 95 %
// bound of the field falls to the limit, every direction with its own bound: a
// little on the safe side.
func (c Fitted) SafeDistanceUpper95(limitUT, relativeSD float64) float64 {
	if c.Kind == KindDipole {
		m := c.MomentAm2
		return DipoleDistance(upperLength(m, c.MomentCov.Add(magmath.Outer(m, m).Scale(relativeSD*relativeSD))), limitUT)
	}
	return PathDistance(c.PathMM, c.upperField(relativeSD), limitUT)
}

// upperField is the field at a place, longer by 1.645 standard deviations of its
// length (the 0.95 quantile of a normal distribution).
func (c Fitted) upperField(relativeSD float64) func(p r3.Vec) r3.Vec {
	const one95 = 1.6448536269514722
	fields, gradients := c.e.fields(), c.e.gradients(c.x)
	along := make([]float64, c.Cov.SymmetricDim())
	return func(p r3.Vec) r3.Vec {
		var b r3.Vec
		units := fields(p)
		for i, u := range units {
			b = r3.Add(b, r3.Scale(c.x[i], u))
		}
		n := r3.Norm(b)
		if !(n > 0) || math.IsInf(n, 0) {
			return b
		}
		u := r3.Scale(1/n, b)
		for i, s := range append(units, gradients(p)...) {
			along[i] = r3.Dot(u, s)
		}
		v := n * n * relativeSD * relativeSD
		for i, a := range along {
			for j, b := range along {
				v += a * b * c.Cov.At(i, j)
			}
		}
		return r3.Scale(n+one95*math.Sqrt(max(v, 0)), u)
	}
}

// upperLength is the 0.95 quantile of the length of a normal vector: its
// square is given the shifted chi-square distribution with the same first three
// cumulants. Zero covariance gives the length itself.
//
// Source: Imhof 1961, Biometrika 48, 419, eq. 4.2 (Pearson's approximation to
// a quadratic form in normal variables; from memory).
func upperLength(m r3.Vec, cov magmath.Mat3) float64 {
	c2 := cov.Mul(cov)
	k1 := cov.Trace() + r3.Norm2(m)
	k2 := c2.Trace() + 2*r3.Dot(m, cov.Apply(m))
	k3 := c2.Mul(cov).Trace() + 3*r3.Dot(m, c2.Apply(m))
	if !(k2 > 0) || !(k3 > 0) {
		return math.Sqrt(max(k1, 0))
	}
	nu := k2 * k2 * k2 / (k3 * k3)
	z := 1.6448536269514722 // where the chi-square is as good as normal
	if nu < 1e5 {
		z = (distuv.ChiSquared{K: nu}.Quantile(0.95) - nu) / math.Sqrt(2*nu)
	}
	return math.Sqrt(max(k1+math.Sqrt(2*k2)*z, 0))
}
