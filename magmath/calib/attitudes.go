package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// attitudes are directions of the field in sensor axes, spread evenly over the
// attitudes that the craft will fly: yaw all round, tilt up to the limit about
// any horizontal axis. Unknown dip or a tilt of 90 degrees and more: every
// direction.
func (o Options) attitudes() []r3.Vec {
	if o.any() {
		out := make([]r3.Vec, Cells)
		for i := range out {
			out[i] = CellDirection(i)
		}
		return out
	}
	const yaws, azimuths, rings = 16, 8, 3
	dip := o.DipDeg * math.Pi / 180
	down := o.down()
	north := perpendicular(down)
	east := r3.Cross(down, north)
	field := r3.Vec{X: math.Cos(dip), Z: math.Sin(dip)}
	var out []r3.Vec
	for ring := range rings {
		// Equal areas of the cap of tilts: every tilt of the plumb line is as likely.
		cap := 1 - math.Cos(max(o.TiltDeg, 0)*math.Pi/180)
		tilt := math.Acos(1 - cap*(float64(ring)+0.5)/rings)
		for a := range azimuths {
			about := 2 * math.Pi * float64(a) / azimuths
			turned := rotate(field, r3.Vec{X: math.Cos(about), Y: math.Sin(about)}, tilt)
			for y := range yaws {
				v := rotate(turned, r3.Vec{Z: 1}, 2*math.Pi*float64(y)/yaws)
				out = append(out, r3.Add(r3.Scale(v.X, north), r3.Add(r3.Scale(v.Y, east), r3.Scale(v.Z, down))))
			}
		}
	}
	return out
}

// rotate turns v by an angle about a unit axis.
// Source: Rodrigues' rotation formula.
func rotate(v, axis r3.Vec, angle float64) r3.Vec {
	c, s := math.Cos(angle), math.Sin(angle)
	return r3.Add(r3.Scale(c, v), r3.Add(r3.Scale(s, r3.Cross(axis, v)), r3.Scale((1-c)*r3.Dot(axis, v), axis)))
}

// perpendicular is some unit vector at right angles to the unit vector v.
func perpendicular(v r3.Vec) r3.Vec {
	a := r3.Vec{X: 1}
	if math.Abs(v.X) > 0.8 {
		a = r3.Vec{Y: 1}
	}
	return r3.Unit(r3.Sub(a, r3.Scale(r3.Dot(a, v), v)))
}

// shown is the share of the attitudes near a direction that was seen: within
// 12 degrees, or within 30 where every direction may be flown and the error of
// the fit says more than the coverage.
func (o Options) shown(attitudes, seen []r3.Vec) float64 {
	limit := math.Cos(12 * math.Pi / 180)
	if o.any() {
		limit = math.Cos(30 * math.Pi / 180)
	}
	n := 0
	for _, a := range attitudes {
		for _, s := range seen {
			if r3.Dot(a, s) >= limit {
				n++
				break
			}
		}
	}
	return float64(n) / float64(max(len(attitudes), 1))
}

// any says that every direction may be flown.
func (o Options) any() bool { return math.IsNaN(o.DipDeg) || o.TiltDeg >= 90 }
