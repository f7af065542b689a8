package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// SoftIron is a piece of iron small against its distance, magnetised by the
// field it lies in: when the craft turns in the Earth's field the moment
// changes, which a magnet's does not.
type SoftIron struct {
	AtMM           r3.Vec
	Polarizability magmath.Mat3 // ampere square metres per microtesla
}

// Induced is the dipole that the ambient field (microtesla, the frame of the
// iron) raises. The iron's own effect on its neighbours is left out.
func (s SoftIron) Induced(ambientUT r3.Vec) Dipole {
	return Dipole{AtMM: s.AtMM, MomentAm2: s.Polarizability.Apply(ambientUT)}
}

// Polarizability is that of an ellipsoid of iron along the axes: m = V chi /
// (mu0 (1 + N chi)) B for each axis. susceptibility is the SI volume
// susceptibility (relative permeability less one), demagnetising the three
// factors N, which sum to one: 1/3 each for a sphere, near (0, 1/2, 1/2) for
// a rod along x.
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

// SpherePolarizability is Polarizability of a sphere, the same for every axis.
func SpherePolarizability(radiusMM, susceptibility float64) magmath.Mat3 {
	v := 4 * math.Pi / 3 * radiusMM * radiusMM * radiusMM
	return Polarizability(v, susceptibility, r3.Vec{X: 1. / 3, Y: 1. / 3, Z: 1. / 3})
}
