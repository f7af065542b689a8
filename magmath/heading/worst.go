package heading

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

const degree = math.Pi / 180

// Level returns the heading error in degrees, worst over all headings of a level
// craft, of a disturbance d in microtesla where the horizontal field is hUT
// microtesla. With the horizontal part of d not smaller than hUT the compass
// can point anywhere: 180 and true. NaN in d or hUT gives NaN and false.
//
// Source: the sine rule in the triangle of horizontal field, disturbance and
// sum: sin(error) = (d/H) sin(angle at the needle), largest at a right angle;
// the semicircular deviation of compass adjusting.
func Level(d r3.Vec, hUT float64) (deg float64, anyDirection bool) {
	return Worst(d, hUT, 0)
}

// Worst returns what Level returns, for any attitude up to tiltDeg degrees from
// level, in whatever direction the craft leans; from 90 degrees on that is every
// attitude. A negative tilt counts as 0.
func Worst(d r3.Vec, hUT, tiltDeg float64) (deg float64, anyDirection bool) {
	return errorOf(newTilt(tiltDeg).horizontal(d), hUT)
}

// Horizontal returns the largest horizontal part, microtesla, that a disturbance
// d can have in any attitude up to tiltDeg degrees from level: Worst is the Level
// of it. It is a seminorm of d. A negative tilt counts as 0.
func Horizontal(d r3.Vec, tiltDeg float64) float64 { return newTilt(tiltDeg).horizontal(d) }

// errorOf returns the worst heading error of a disturbance whose horizontal part is
// at most b microtesla.
func errorOf(b, hUT float64) (deg float64, anyDirection bool) {
	switch {
	case math.IsNaN(b) || math.IsNaN(hUT):
		return math.NaN(), false
	case b >= hUT:
		return 180, true
	}
	return math.Asin(b/hUT) / degree, false
}

// tilt is a largest lean from the level, by its sine and cosine.
type tilt struct{ sin, cos float64 }

func newTilt(deg float64) tilt {
	sin, cos := math.Sincos(min(max(deg, 0), 90) * degree)
	if deg >= 90 {
		cos = 0
	}
	return tilt{sin, cos}
}

// horizontal returns the largest horizontal part that d can have in an attitude
// within the tilt: |d| cos(max(0, gamma - tilt)), gamma being the angle of d
// out of the craft's horizontal plane. The craft leans so as to bring d down to
// the horizontal, or as far as it goes.
func (t tilt) horizontal(d r3.Vec) float64 {
	level, up := math.Sqrt(d.X*d.X+d.Y*d.Y), math.Abs(d.Z)
	if up*t.cos <= level*t.sin {
		return math.Sqrt(level*level + up*up)
	}
	return level*t.cos + up*t.sin
}

// Quantiles are the 0.50 and the one-sided 0.95 quantile of a posterior.
type Quantiles struct {
	Estimate float64 `json:"estimate"`
	Upper95  float64 `json:"upper95"`
}

// Error is the posterior of a heading error in degrees, worst over all
// headings. AnyDirection is set where the estimate's horizontal disturbance is
// not smaller than H: the compass can then point anywhere and the error is
// given as 180.
type Error struct {
	Quantiles
	AnyDirection bool `json:"any_direction"`
}
