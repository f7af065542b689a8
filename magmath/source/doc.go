// Package source computes the magnetic field of the things on a craft that
// disturb a compass (magnets and iron as dipoles, wires as straight segments),
// finds such things behind measured disturbances, and says how far away from
// them a compass is safe.
//
// Find fits what it is given names of, and as many unnamed dipoles and leads
// as the readings call for. It does not say that a source is what it looks
// like: two small magnets far below act as one, and iron acts as a magnet as
// long as the craft lies as it does.
//
// Places are in millimetres, fields in microtesla, moments in ampere square
// metres, currents in amperes; source and field point are in one frame, any
// right-handed one. A wire is infinitely thin and a magnet a point: closer
// than a few diameters the field of the real thing differs.
//
// Where a field is undefined (at the dipole itself, on the wire itself) the
// answer is NaN in every component; nothing panics. A fit takes such a field
// for none: the reading there says nothing of that source. Sources of strength zero
// have no field anywhere, not even there.
package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Mu0 is the magnetic constant in tesla metres per ampere: 4 pi 1e-7, the
// value of the SI before 2019, which differs from today's measured one by
// less than 1e-9 of itself.
const Mu0 = 4e-7 * math.Pi

// Mu0/4pi in the units of this package: microtesla cubed millimetres per
// ampere square metre, and microtesla millimetres per ampere.
const (
	dipoleUT = 1e8
	wireUT   = 1e2
)

var undefined = r3.Vec{X: math.NaN(), Y: math.NaN(), Z: math.NaN()}

func undefinedMat() magmath.Mat3 {
	n := math.NaN()
	return magmath.Mat3{{n, n, n}, {n, n, n}, {n, n, n}}
}

// length is that of v. It is not guarded against overflow, as r3.Norm is, and
// several times faster.
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }
