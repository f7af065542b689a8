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

// Remark is one thing to say: what is the matter and what to do.
type Remark struct {
	Code Code
	Text string
}

// Result is a calibration with what is known of its error. When it was not
// accepted the numbers are what was found nevertheless, zero where nothing
// could be.
type Result struct {
	Accepted bool
	Refusals []Remark // why not, with the remedy; empty when accepted
	Remarks  []Remark // no obstacle
	Why      string   // what was chosen and why, or why nothing was accepted

	OffsetUT         r3.Vec
	Matrix           magmath.Mat3
	Parameters       int // 3, 4, 6 or 9; 0: nothing was fitted
	OffsetStandardUT r3.Vec
	MatrixStandard   magmath.Mat3
	// Covariance of offset x, y, z and M xx, yy, zz, xy, xz, yz: noise, what was
	// left out under the prior, and the scale.
	Covariance [9][9]float64

	Scale           ScaleFrom
	FieldUT         float64 // strength of the corrected field
	FieldStandardUT float64
	Ratio           float64 // strength in the probe's own unit over the reference; 0: no reference

	ResidualUT       float64 // root mean square distance from the ellipsoid, raw space
	NoiseUT          float64 // robust standard deviation of an axis
	ErrorUT          float64 // of a corrected field across its direction, over the attitudes flown
	Candidates       []Candidate
	Prior            Prior   // as used: wider than stated where the readings contradict it
	EffectiveSamples float64 // independent readings that would tell as much
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

// Interval95UT is half the width of the 95 % interval of each offset: the
// standard uncertainty times the quantile of Student's distribution.
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
