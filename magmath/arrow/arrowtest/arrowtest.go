// Package arrowtest has an invented site and the turns of a craft there. Only
// tests import it.
package arrowtest

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// BodyOf turns a vector of the room into a craft at yaw, pitch and roll.
func BodyOf(v r3.Vec, a [3]float64) r3.Vec {
	s, k := math.Sincos(a[0] * math.Pi / 180)
	v = r3.Vec{X: k*v.X + s*v.Y, Y: -s*v.X + k*v.Y, Z: v.Z}
	s, k = math.Sincos(a[1] * math.Pi / 180)
	v = r3.Vec{X: k*v.X - s*v.Z, Y: v.Y, Z: s*v.X + k*v.Z}
	s, k = math.Sincos(a[2] * math.Pi / 180)
	return r3.Vec{X: v.X, Y: k*v.Y + s*v.Z, Z: -s*v.Y + k*v.Z}
}

// Place is an invented site: 19 microtesla level, dip 67 degrees.
var Place = r3.Vec{X: 19, Z: 45}
