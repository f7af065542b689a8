package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/geomag"
)

// ScaleFrom selects the source of the corrected field's scale.
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

// agreement is the relative difference of strengths up to which FromEither takes
// the place for outdoors: three standard deviations of the mean of three gains
// known to 3 per cent each.
const agreement = 0.05

// roomUncertaintyUT is the standard uncertainty of the field's strength in a
// room. Common practice, no source.
const roomUncertaintyUT = 5.0

// Prior is the expected spread of a probe's gains and cross terms before its
// calibration.
type Prior struct {
	Gain  float64 // standard deviation of each axis's gain about 1
	Cross float64 // standard deviation of each off-diagonal element of M
}

// defaultPrior returns gains within 3 per cent and cross terms of 0.02. Common
// practice, no source.
func defaultPrior() Prior { return Prior{Gain: 0.03, Cross: 0.02} }

// Options are the inputs of Calibrate besides the readings.
type Options struct {
	// ReferenceUT is the strength of the field at the place, 0: not known.
	ReferenceUT float64
	// ReferenceStandardUT is its standard uncertainty; 0 means that of the
	// reference model (0.138) if the scale is from the reference, else 5.
	ReferenceStandardUT float64
	Scale               ScaleFrom
	Prior               Prior // zero: gains within 3 per cent, cross terms of 0.02
	Parameters          int   // 3, 4, 6 or 9; 0: as many as the readings support

	// The attitudes to be flown: yaw all round, tilt up to TiltDeg in any
	// direction. 90 or more: any attitude.
	TiltDeg float64
	// DipDeg is the dip of the field below the horizon; NaN: not known, which
	// means any attitude.
	DipDeg float64
	// Axes turns sensor axes into the craft's (x forward, y right, z down); nil:
	// not known. It is needed for attitudes and hints.
	Axes *magmath.Mat3

	RangeUT    float64 // full scale of an axis, 0: not stated
	MaxErrorUT float64 // accepted error of a corrected field; 0: 5 % of the reference
}

// DefaultOptions returns the options for a probe that may fly in any attitude and
// whose scale is from the reference.
func DefaultOptions() Options {
	return Options{Prior: defaultPrior(), DipDeg: math.NaN(), TiltDeg: 90}
}

// normal replaces zeros by their defaults, and a reference that is not known by
// radius.
func (o Options) normal(radius float64) Options {
	if o.Prior == (Prior{}) {
		o.Prior = defaultPrior()
	}
	if !(o.ReferenceUT > 0) || math.IsInf(o.ReferenceUT, 0) {
		o.ReferenceUT, o.ReferenceStandardUT, o.Scale = radius, radius/2, FromProbe
	}
	if !(o.ReferenceStandardUT > 0) {
		o.ReferenceStandardUT = geomag.Uncertainty(geomag.Elements{}).F / 1000
		if o.Scale == FromProbe {
			o.ReferenceStandardUT = roomUncertaintyUT
		}
	}
	if !(o.MaxErrorUT > 0) {
		o.MaxErrorUT = 0.05 * o.ReferenceUT
	}
	return o
}

// down returns the craft's down in sensor axes.
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
