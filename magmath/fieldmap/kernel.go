package fieldmap

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Kernel is a covariance of vector fields with its hyperparameters, which are
// logarithms and so unbounded. A kernel is immutable: With returns another.
type Kernel interface {
	// Name is the assumption in words.
	Name() string
	// Params returns the hyperparameters.
	Params() []float64
	// With returns the same kernel with other hyperparameters.
	With(params []float64) Kernel
	// K returns the covariance of the field at p with the field at q. K(q, p) is
	// its transpose; the block itself need not be symmetric.
	K(p, q r3.Vec) magmath.Mat3
	// Slopes fills into with the derivatives of K by each hyperparameter.
	Slopes(p, q r3.Vec, into []magmath.Mat3)
}

// Smooth models the three components as independent processes with one Matern
// covariance of order 5/2. It assumes smoothness but no law of magnetism, and
// so holds wherever the sources lie. Source: Rasmussen and Williams (2006), eq.
// 4.17.
type Smooth struct {
	LogSD     float64 // of a component, uT
	LogLength float64 // mm
}

// Name implements Kernel.
func (Smooth) Name() string { return "independent smooth components" }

// Params implements Kernel.
func (s Smooth) Params() []float64 { return []float64{s.LogSD, s.LogLength} }

// With implements Kernel.
func (Smooth) With(p []float64) Kernel { return Smooth{p[0], p[1]} }

// K implements Kernel.
func (s Smooth) K(p, q r3.Vec) magmath.Mat3 { return ready(s)(p, q) }

// Slopes implements Kernel.
func (s Smooth) Slopes(p, q r3.Vec, into []magmath.Mat3) {
	u := math.Sqrt(5) * r3.Norm(r3.Sub(p, q)) / math.Exp(s.LogLength)
	v := math.Exp(2*s.LogSD - u)
	k, l := 2*v*(1+u+u*u/3), v*u*u/3*(1+u)
	into[0], into[1] = magmath.Diagonal(k, k, k), magmath.Diagonal(l, l, l)
}

// Mirrored is the covariance of fields whose potential is harmonic above a
// plane: the reciprocal-distance covariance mirrored in the plane. Every
// field drawn from it has neither curl nor divergence there. It holds where
// all sources lie under the plane.
//
// With q' the mirror image of q and r = p - q',
//
//	K(p, q) = c/|r|^3 (I - 3 r r^T/|r|^2) diag(1, 1, -1),
//
// so that K(p, p) = c/(8 h^3) diag(1, 1, 2), h the height above the plane.
// Undefined on and under the plane.
// Source: T. Krarup, A Contribution to the Mathematical Foundation of
// Physical Geodesy (1969), the reciprocal-distance kernel in the limit of a
// plane; checked here by finite differences of the potential c/|r|.
type Mirrored struct {
	SurfaceZMM float64 // a level, craft frame (down positive); the plane lies below it
	LogSD      float64 // of a horizontal component at the level, uT
	LogDepth   float64 // of the plane under the level, mm
}

// Name implements Kernel.
func (Mirrored) Name() string { return "harmonic, sources below the surface" }

// Params implements Kernel.
func (m Mirrored) Params() []float64 { return []float64{m.LogSD, m.LogDepth} }

// With implements Kernel.
func (m Mirrored) With(p []float64) Kernel { return Mirrored{m.SurfaceZMM, p[0], p[1]} }

// ready returns k.K with the factors that depend on the hyperparameters alone
// precomputed, for many pairs of places.
func ready(k Kernel) func(p, q r3.Vec) magmath.Mat3 {
	switch k := k.(type) {
	case Mirrored:
		c, _, plane := k.scales()
		return func(p, q r3.Vec) magmath.Mat3 {
			return mirroredK(c, r3.Vec{X: p.X - q.X, Y: p.Y - q.Y, Z: p.Z + q.Z - 2*plane})
		}
	case Smooth:
		variance, perMM := math.Exp(2*k.LogSD), math.Sqrt(5)/math.Exp(k.LogLength)
		return func(p, q r3.Vec) magmath.Mat3 {
			d := r3.Sub(p, q)
			u := perMM * math.Sqrt(r3.Dot(d, d))
			v := variance * math.Exp(-u) * (1 + u + u*u/3)
			return magmath.Diagonal(v, v, v)
		}
	case CurlFree:
		variance, perMM := math.Exp(2*k.LogSD), math.Exp(-k.LogLength)
		return func(p, q r3.Vec) magmath.Mat3 {
			r := r3.Scale(perMM, r3.Sub(p, q))
			v := variance * math.Exp(-r3.Norm2(r)/2)
			return magmath.Diagonal(v, v, v).Add(magmath.Outer(r, r).Scale(-v))
		}
	case Sum:
		parts := make([]func(p, q r3.Vec) magmath.Mat3, len(k))
		for i, one := range k {
			parts[i] = ready(one)
		}
		return func(p, q r3.Vec) magmath.Mat3 {
			var m magmath.Mat3
			for _, part := range parts {
				m = m.Add(part(p, q))
			}
			return m
		}
	}
	return k.K
}

// mirroredK returns the kernel for r = p - q'.
func mirroredK(c float64, r r3.Vec) magmath.Mat3 {
	d2 := r3.Norm2(r)
	f3 := 1 / (d2 * math.Sqrt(d2))
	g := -3 * c * f3 / d2
	f := c * f3
	xy, xz, yz := g*r.X*r.Y, g*r.X*r.Z, g*r.Y*r.Z
	return magmath.Mat3{
		{f + g*r.X*r.X, xy, -xz},
		{xy, f + g*r.Y*r.Y, -yz},
		{xz, yz, -(f + g*r.Z*r.Z)},
	}
}

// mirrored returns the kernel for c = 1 and its derivative by the plane's z.
func mirrored(r r3.Vec) (k, byPlane magmath.Mat3) {
	d2 := r3.Norm2(r)
	f3 := 1 / (d2 * math.Sqrt(d2))
	f5, f7 := f3/d2, f3/(d2*d2)
	v := [3]float64{r.X, r.Y, r.Z}
	for i := range 3 {
		for j := range 3 {
			a, b := -3*f5*v[i]*v[j], 15*f7*r.Z*v[i]*v[j]
			if i == j {
				a, b = a+f3, b-3*f5*r.Z
			}
			if i == 2 {
				b -= 3 * f5 * v[j]
			}
			if j == 2 {
				b -= 3 * f5 * v[i]
				a, b = -a, -b
			}
			k[i][j], byPlane[i][j] = a, -2*b
		}
	}
	return k, byPlane
}

// scales returns the factor c, the depth of the plane below the surface, and its
// z.
func (m Mirrored) scales() (c, depth, plane float64) {
	depth = math.Exp(m.LogDepth)
	return math.Exp(2*m.LogSD) * 8 * depth * depth * depth, depth, m.SurfaceZMM + depth
}

// K implements Kernel.
func (m Mirrored) K(p, q r3.Vec) magmath.Mat3 { return ready(m)(p, q) }

// Slopes implements Kernel.
func (m Mirrored) Slopes(p, q r3.Vec, into []magmath.Mat3) {
	c, depth, plane := m.scales()
	k, d := mirrored(r3.Vec{X: p.X - q.X, Y: p.Y - q.Y, Z: p.Z + q.Z - 2*plane})
	into[0] = k.Scale(2 * c)
	into[1] = k.Scale(3 * c).Add(d.Scale(c * depth))
}

// Sum is the covariance of a sum of independent fields.
type Sum []Kernel

// Name implements Kernel.
func (s Sum) Name() string {
	var name strings.Builder
	for i, k := range s {
		if i > 0 {
			name.WriteString(" + ")
		}
		name.WriteString(k.Name())
	}
	return name.String()
}

// Params implements Kernel.
func (s Sum) Params() []float64 {
	var p []float64
	for _, k := range s {
		p = append(p, k.Params()...)
	}
	return p
}

// With implements Kernel.
func (s Sum) With(p []float64) Kernel {
	out := make(Sum, len(s))
	for i, k := range s {
		n := len(k.Params())
		out[i], p = k.With(p[:n]), p[n:]
	}
	return out
}

// K implements Kernel.
func (s Sum) K(p, q r3.Vec) magmath.Mat3 { return ready(s)(p, q) }

// Slopes implements Kernel.
func (s Sum) Slopes(p, q r3.Vec, into []magmath.Mat3) {
	for _, k := range s {
		n := len(k.Params())
		k.Slopes(p, q, into[:n])
		into = into[n:]
	}
}

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

// parts returns r r^T/l^2, s^2 exp(-u) and u = |r|^2/(2 l^2).
func (c CurlFree) parts(p, q r3.Vec) (outer magmath.Mat3, v, u float64) {
	r := r3.Scale(math.Exp(-c.LogLength), r3.Sub(p, q))
	u = r3.Norm2(r) / 2
	return magmath.Outer(r, r), math.Exp(2*c.LogSD - u), u
}

// K implements Kernel.
func (c CurlFree) K(p, q r3.Vec) magmath.Mat3 { return ready(c)(p, q) }

// Slopes implements Kernel.
func (c CurlFree) Slopes(p, q r3.Vec, into []magmath.Mat3) {
	outer, v, u := c.parts(p, q)
	into[0] = magmath.Diagonal(2*v, 2*v, 2*v).Add(outer.Scale(-2 * v))
	into[1] = magmath.Diagonal(2*u*v, 2*u*v, 2*u*v).Add(outer.Scale(2 * v * (1 - u)))
}
