package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// ScaleFrom says what the length of the corrected field is measured by.
type ScaleFrom int

// The sources of scale.
const (
	// FromReference scales the corrected field to the reference field: outdoors,
	// away from iron.
	FromReference ScaleFrom = iota
	// FromProbe keeps the probe's own units: M has determinant 1. Indoors the
	// field is some per cent off the reference.
	FromProbe
	// FromEither is FromReference where the probe's own units agree with it
	// within 5 per cent, else FromProbe.
	FromEither
)

// agreement of strengths that FromEither takes for outdoors: three standard
// deviations of the mean of three gains known to 3 per cent each.
const agreement = 0.05

// What the strength of the field is uncertain by, one standard deviation, and
// the prior of the probe. The first is the total field's of the error model
// published with the World Magnetic Model 2025; the others are common
// practice, no source.
const (
	ReferenceUncertaintyUT = 0.138
	RoomUncertaintyUT      = 5.0
	priorGain              = 0.03
	priorCross             = 0.02
)

// Prior is what is believed of a probe before it is calibrated.
type Prior struct {
	Gain  float64 // standard deviation of each axis's gain about 1
	Cross float64 // standard deviation of each off-diagonal element of M
}

// DefaultPrior are gains within 3 per cent and cross terms of 0.02.
func DefaultPrior() Prior { return Prior{Gain: priorGain, Cross: priorCross} }

// Options say what is known beside the readings.
type Options struct {
	// ReferenceUT is the strength of the field at the place, 0: not known.
	ReferenceUT float64
	// ReferenceStandardUT is its standard uncertainty; 0 means 0.138 when the
	// scale is from the reference, else 5.
	ReferenceStandardUT float64
	Scale               ScaleFrom
	Prior               Prior // zero: DefaultPrior
	Parameters          int   // 3, 4, 6 or 9; 0: as many as the readings support

	// The attitudes to be flown: yaw all round, tilt up to TiltDeg in any
	// direction. 90 or more: any attitude.
	TiltDeg float64
	// DipDeg is the dip of the field below the horizon; NaN: not known, which
	// means any attitude.
	DipDeg float64
	// Axes turns sensor axes into the craft's (x forward, y right, z down); nil:
	// not known. It serves for the attitudes and for the words that guide the
	// hand.
	Axes *magmath.Mat3

	RangeUT    float64 // full scale of an axis, 0: not stated
	MaxErrorUT float64 // accepted error of a corrected field; 0: 5 % of the reference
}

// DefaultOptions are those for a probe whose scale is from the reference.
func DefaultOptions() Options {
	return Options{Prior: DefaultPrior(), DipDeg: math.NaN(), TiltDeg: 90}
}

// normal fills in what was left zero; radius stands in for a reference that
// is not known.
func (o Options) normal(radius float64) Options {
	if o.Prior == (Prior{}) {
		o.Prior = DefaultPrior()
	}
	if !(o.ReferenceUT > 0) || math.IsInf(o.ReferenceUT, 0) {
		o.ReferenceUT, o.ReferenceStandardUT, o.Scale = radius, radius/2, FromProbe
	}
	if !(o.ReferenceStandardUT > 0) {
		o.ReferenceStandardUT = ReferenceUncertaintyUT
		if o.Scale == FromProbe {
			o.ReferenceStandardUT = RoomUncertaintyUT
		}
	}
	if !(o.MaxErrorUT > 0) {
		o.MaxErrorUT = 0.05 * o.ReferenceUT
	}
	return o
}

// down is the craft's down in sensor axes.
func (o Options) down() r3.Vec {
	if o.Axes == nil {
		return r3.Vec{Z: 1}
	}
	return r3.Unit(o.Axes.Transpose().Apply(r3.Vec{Z: 1}))
}

// Sample is one reading in sensor axes.
type Sample struct {
	TS float64 // seconds, never backwards
	B  r3.Vec  // microtesla as the probe states them
}
