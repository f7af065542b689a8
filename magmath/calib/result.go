package calib

import (
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

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
