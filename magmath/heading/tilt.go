package heading

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Compass returns the magnetic heading in degrees, 0 to 360, that a field b in the
// craft frame stands for. up is the reading of an accelerometer at rest in the
// craft frame, which points away from the ground; where it is zero the craft
// is taken as level. ok is false where there is no level field, where the nose
// points straight up or down, and for numbers that are not finite.
//
// Source: the definition of heading. With D down and N the field's level part,
// east is D x N (ISO 1151 axes).
func Compass(b, up r3.Vec) (deg float64, ok bool) {
	down := r3.Vec{Z: 1}
	if up != (r3.Vec{}) {
		down = r3.Scale(-1/r3.Norm(up), up)
	}
	north := r3.Sub(b, r3.Scale(r3.Dot(b, down), down))
	east := r3.Cross(down, north)
	nose := r3.Vec{X: 1}
	x, y := r3.Dot(nose, north), r3.Dot(nose, east)
	size := math.Hypot(x, y)
	if !(size > 1e-9*r3.Norm(b)) || math.IsInf(size, 0) {
		return 0, false
	}
	return Wrap360(math.Atan2(y, x) * 180 / math.Pi), true
}

// Wrap360 brings an angle to 0 <= a < 360 degrees. NaN stays.
func Wrap360(deg float64) float64 {
	a := math.Mod(deg, 360)
	if a < 0 {
		a += 360
	}
	if a >= 360 {
		a = 0
	}
	return a
}

// Wrap180 brings an angle to -180 < a <= 180 degrees. NaN stays.
func Wrap180(deg float64) float64 {
	a := Wrap360(deg)
	if a > 180 {
		a -= 360
	}
	return a
}
