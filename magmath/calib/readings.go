package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/dwell"
)

// readings are the samples that carry information.
type readings struct {
	ts        []float64
	x         []r3.Vec
	bad       int // not finite
	repeated  int // the same vector as the one before
	saturated int // at full scale
}

// clean drops samples that are not finite or at full scale, and a vector that
// repeats the one before: many boards send faster than their sensor measures.
func clean(samples []Sample, rangeUT float64) readings {
	var r readings
	clipped := clips(samples, rangeUT)
	for i, s := range samples {
		switch {
		case !magmath.FiniteVec(s.B) || math.IsNaN(s.TS) || math.IsInf(s.TS, 0):
			r.bad++
		case clipped[i]:
			r.saturated++
		case len(r.x) > 0 && s.B == r.x[len(r.x)-1]:
			r.repeated++
		default:
			r.ts, r.x = append(r.ts, s.TS), append(r.x, s.B)
		}
	}
	return r
}

func (r readings) spanS() float64 {
	if len(r.ts) == 0 {
		return 0
	}
	return r.ts[len(r.ts)-1] - r.ts[0]
}

// clips marks the samples at full scale: those that dwell.AtFullScale finds by
// the stated range, and those at a value at which an axis is stuck.
func clips(samples []Sample, rangeUT float64) []bool {
	out := make([]bool, len(samples))
	for axis := range 3 {
		low, high := math.Inf(1), math.Inf(-1)
		for _, s := range samples {
			if v := component(s.B, axis); magmath.FiniteVec(s.B) {
				low, high = min(low, v), max(high, v)
			}
		}
		for _, end := range [2]float64{low, high} {
			stated := dwell.AtFullScale(end, rangeUT)
			if !stated && !stuck(samples, axis, end, high-low) {
				continue
			}
			for i, s := range samples {
				v := component(s.B, axis)
				out[i] = out[i] || v == end || dwell.AtFullScale(v, rangeUT)
			}
		}
	}
	return out
}

// stuck reports whether an axis is at full scale at its extreme value end: at
// least ten samples and one in a hundred have that value, few lie within two per
// cent of the axis's span beside it, and another axis moves meanwhile. At the
// turning points of a smooth rotation the values beside are as frequent.
func stuck(samples []Sample, axis int, end, span float64) bool {
	at, beside := 0, 0
	low, high := math.Inf(1), math.Inf(-1) // of another axis meanwhile
	for _, s := range samples {
		d := math.Abs(component(s.B, axis) - end)
		switch {
		case d == 0:
			at++
			other := component(s.B, (axis+1)%3)
			low, high = min(low, other), max(high, other)
		case d <= 0.02*span:
			beside++
		}
	}
	// A probe that does not move repeats itself without being at full scale.
	return at >= 10 && at*100 >= len(samples) && at > 4*beside && high-low > 0.1*span && span > 0
}

func component(v r3.Vec, axis int) float64 { return [3]float64{v.X, v.Y, v.Z}[axis] }
