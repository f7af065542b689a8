package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Code is a stable short name of a refusal or a remark.
type Code string

// The refusals and remarks.
const (
	CodeShort     Code = "short"     // too few readings, or too little time
	CodeStill     Code = "still"     // hardly turned at all
	CodeFlat      Code = "flat"      // turned about one axis only
	CodeOneSided  Code = "one-sided" // attitudes to be flown were not shown
	CodeSaturated Code = "saturated" // readings at full scale
	CodeChanged   Code = "changed"   // conditions changed meanwhile
	CodeNoisy     Code = "noisy"     // too uncertain for another reason
	CodeDistorted Code = "distorted" // no ellipsoid within bounds fits
	CodeScale     Code = "scale"     // wrong unit
	CodeSpikes    Code = "spikes"    // many wild readings
	CodePrior     Code = "prior"     // the probe is worse than the prior says
	CodeRoom      Code = "room"      // field strength off the reference
)

// Remark is a refusal or a warning with its remedy.
type Remark struct {
	Code Code
	Text string
}

// Result is a calibration with its uncertainty. If it is not accepted, its
// numbers are those of the attempt, zero where the attempt did not get that far.
type Result struct {
	Accepted bool
	Refusals []Remark // reasons against it; empty if accepted
	Remarks  []Remark // warnings
	Why      string   // the chosen model and the reason, or the refusals

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

func (r *Result) refuse(code Code, text string) {
	r.Refusals = append(r.Refusals, Remark{code, text})
}

func (r *Result) remark(code Code, text string) {
	r.Remarks = append(r.Remarks, Remark{code, text})
}

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

func (c Candidate) words() string {
	return fmt.Sprintf("%d: %s", c.Parameters, microtesla(c.TotalUT))
}

func microtesla(v float64) string {
	switch {
	case math.IsInf(v, 0) || math.IsNaN(v) || v > 1e4:
		return "not determined"
	case v >= 10:
		return fmt.Sprintf("%.0f uT", v)
	case v >= 1:
		return fmt.Sprintf("%.1f uT", v)
	}
	return fmt.Sprintf("%.2f uT", v)
}
