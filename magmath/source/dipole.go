package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Dipole is a point source: a magnet, or a piece of iron, seen from a few of
// its diameters away.
type Dipole struct {
	AtMM      r3.Vec
	MomentAm2 r3.Vec // from south to north pole
}

// Field returns the field at p in microtesla; NaN at the dipole itself.
//
// Source: Griffiths, Introduction to Electrodynamics, 4th ed. (2013), eq.
// 5.89: B = mu0/(4 pi r^3) (3 (m.r^) r^ - m). Equation number from memory.
func (d Dipole) Field(p r3.Vec) r3.Vec {
	if d.MomentAm2 == (r3.Vec{}) {
		return r3.Vec{}
	}
	r := r3.Sub(p, d.AtMM)
	n := length(r)
	if n == 0 {
		return undefined
	}
	u := r3.Scale(1/n, r)
	v := r3.Sub(r3.Scale(3*r3.Dot(d.MomentAm2, u), u), d.MomentAm2)
	return r3.Scale(dipoleUT/(n*n*n), v)
}

// Jacobian returns dB_i/dp_j at p in microtesla per millimetre: symmetric and
// without trace, as it must be where no current flows. NaN at the dipole.
//
// Source: the derivative of Field, 3 k/r^4 (m u^T + u m^T + (m.u)(I - 5 u
// u^T)) with u the unit vector to p.
func (d Dipole) Jacobian(p r3.Vec) magmath.Mat3 {
	if d.MomentAm2 == (r3.Vec{}) {
		return magmath.Mat3{}
	}
	r := r3.Sub(p, d.AtMM)
	n := length(r)
	if n == 0 {
		return undefinedMat()
	}
	m, u := d.MomentAm2, r3.Scale(1/n, r)
	k := magmath.Identity().Add(magmath.Outer(u, u).Scale(-5)).Scale(r3.Dot(m, u))
	return magmath.Outer(m, u).Add(magmath.Outer(u, m)).Add(k).Scale(3 * dipoleUT / (n * n * n * n))
}

// Basis returns the 3 by 3 matrix G with Field = G m for a dipole at at seen from
// p: microtesla per ampere square metre, symmetric. NaN where p is at.
func Basis(at, p r3.Vec) magmath.Mat3 {
	r := r3.Sub(p, at)
	n := length(r)
	if n == 0 {
		return undefinedMat()
	}
	u := r3.Scale(1/n, r)
	g := magmath.Outer(u, u).Scale(3).Add(magmath.Identity().Scale(-1))
	return g.Scale(dipoleUT / (n * n * n))
}

// Moment returns the moment in ampere square metres of a block of magnet of the
// given volume, magnetised throughout with remanence brT (tesla).
//
// Source: m = Br V / mu0, e.g. Furlani, Permanent Magnet and Electromechanical
// Devices (2001); from memory.
func Moment(brT, volumeMM3 float64) float64 { return brT * volumeMM3 * 1e-9 / Mu0 }

// CylinderMoment returns the Moment of a disc or rod magnetised along its axis.
func CylinderMoment(brT, diameterMM, lengthMM float64) float64 {
	return Moment(brT, math.Pi/4*diameterMM*diameterMM*lengthMM)
}

// SoftIron is a piece of iron small against its distance, magnetised by the
// field it lies in: when the craft turns in the Earth's field the moment
// changes, which a magnet's does not.
type SoftIron struct {
	AtMM           r3.Vec
	Polarizability magmath.Mat3 // ampere square metres per microtesla
}

// Induced returns the dipole that the ambient field (microtesla, the frame of the
// iron) raises. The iron's own effect on its neighbours is left out.
func (s SoftIron) Induced(ambientUT r3.Vec) Dipole {
	return Dipole{AtMM: s.AtMM, MomentAm2: s.Polarizability.Apply(ambientUT)}
}

// Polarizability returns that of an ellipsoid of iron whose axes are those of the
// frame, ampere square metres per microtesla: m = V chi / (mu0 (1 + N chi)) B for
// each axis. susceptibility is the SI volume susceptibility (relative
// permeability less one), demagnetising the three factors N, which sum to one:
// 1/3 each for a sphere, near (0, 1/2, 1/2) for a rod along x.
//
// Source: Jackson, Classical Electrodynamics, 3rd ed. (1998), section 5.11
// for the sphere, M = (3/mu0) (mu - mu0)/(mu + 2 mu0) B; Osborn, Physical
// Review 67 (1945) 351 for the factors. From memory.
func Polarizability(volumeMM3, susceptibility float64, demagnetising r3.Vec) magmath.Mat3 {
	a := func(n float64) float64 {
		// V in m^3 and B in tesla per microtesla: 1e-9 and 1e-6.
		return volumeMM3 * 1e-15 * susceptibility / (Mu0 * (1 + n*susceptibility))
	}
	return magmath.Diagonal(a(demagnetising.X), a(demagnetising.Y), a(demagnetising.Z))
}

// SpherePolarizability returns the Polarizability of a sphere, the same for every
// axis.
func SpherePolarizability(radiusMM, susceptibility float64) magmath.Mat3 {
	v := 4 * math.Pi / 3 * radiusMM * radiusMM * radiusMM
	return Polarizability(v, susceptibility, r3.Vec{X: 1. / 3, Y: 1. / 3, Z: 1. / 3})
}
