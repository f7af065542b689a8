package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/geomag"
	"quietmount/magmath/remark"
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

// Result is a calibration with its uncertainty. If it is not accepted, its
// numbers are those of the attempt, zero if it stopped earlier.
type Result struct {
	Accepted bool
	Refusals []remark.Remark // reasons against it, each with its remedy; empty if accepted
	Remarks  []remark.Remark // warnings
	Chosen   remark.Remark   // why that many parameters, "calib.chosen"; zero if refused

	OffsetUT         r3.Vec
	Matrix           magmath.Mat3
	Parameters       int // 3, 4, 6 or 9; 0: nothing was fitted
	OffsetStandardUT r3.Vec
	MatrixStandard   magmath.Mat3
	// Covariance of offset x, y, z, microtesla, and M xx, yy, zz, xy, xz, yz, from
	// noise, the parameters left out under the prior, and the scale.
	Covariance [9][9]float64

	Scale           ScaleFrom
	FieldUT         float64 // strength of the corrected field
	FieldStandardUT float64
	Ratio           float64 // strength in the probe's own unit over the reference; 0: no reference

	ResidualUT       float64 // root mean square distance from the ellipsoid, raw space
	NoiseUT          float64 // robust standard deviation of an axis
	ErrorUT          float64 // of a corrected field across its direction, over the attitudes flown
	Candidates       []Candidate
	Prior            Prior   // as used: widened or narrowed where the readings contradict the stated one
	EffectiveSamples float64 // number of independent readings with the same information
	DegreesOfFreedom float64 // of the noise behind the standard uncertainties

	Samples, Repeated, Rejected, Saturated int
	SphereCovered                          float64 // 0..1, by cells of equal area
	AttitudesCovered                       float64 // 0..1, of those to be flown
	Coverage                               Coverage
	Gap                                    *Hint // where to turn next; nil: no gap
	Changes                                []float64
	Steady                                 []Span // stretches between the changes
	Stretches                              []Span // in which readings disagree with the others; empty: none
}

func (r *Result) refuse(why remark.Remark) { r.Refusals = append(r.Refusals, why) }

func (r *Result) remark(what remark.Remark) { r.Remarks = append(r.Remarks, what) }

// Span is a stretch of time in seconds.
type Span struct{ FromS, ToS float64 }

// lengthS returns its duration.
func (s Span) lengthS() float64 { return s.ToS - s.FromS }

// Interval95UT returns half the width of the 95 % interval of each offset,
// microtesla: the standard uncertainty times the quantile of Student's
// distribution.
//
// Source: JCGM 100:2008 (GUM), annex G.
func (r *Result) Interval95UT() r3.Vec {
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: max(r.DegreesOfFreedom, 1)}
	return r3.Scale(t.Quantile(0.975), r.OffsetStandardUT)
}
