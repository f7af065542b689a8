// Package source computes the magnetic fields of things on a craft that disturb
// a compass (magnets and iron as dipoles, wires as straight segments), finds
// such things from readings of the disturbance, and computes how far from them a
// compass is safe.
//
// In come readings with their joint covariance, magnets and leads whose places
// the builder stated, and the limit of a field. Out go the sources with their
// covariances, the pairs that the readings cannot tell apart, and compass-safe
// distances.
//
// Start reading at Find; Dipole, Lead and Pair are the fields behind it, and
// Fitted.SafeDistance computes the distance. A model is a list of elements, each
// linear in its strengths (moment or current) and not linear in its coordinates;
// model.go fits the strengths, climb.go the coordinates, search.go the number of
// elements, from the starts of scan.go.
//
// Find does not say that a source is what it looks like: two small magnets far
// below act as one, and iron acts as a magnet as long as the craft lies as it
// does.
//
// Places are in millimetres, fields in microtesla, moments in ampere square
// metres, currents in amperes; source and field point are in one right-handed
// frame, any one. A wire is infinitely thin and a magnet a point: closer than a
// few diameters the field of the real thing differs.
//
// Where a field is undefined (at the dipole itself, on the wire itself) it is NaN
// in every component; nothing panics. A fit takes such a field for zero: the
// reading there carries no information on that source. Sources of strength zero
// have no field anywhere.
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

// length returns the length of v. It is not guarded against overflow, as r3.Norm
// is, and several times faster.
func length(v r3.Vec) float64 { return math.Sqrt(r3.Norm2(v)) }
