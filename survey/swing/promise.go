package swing

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/magmath/swing"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// Comparison is the newest calibration of the finished craft compared with what the
// map promises for the chosen spot.
type Comparison struct {
	OnCraft, Loose *logbook.Calibration
	Promise        swing.SteadyPromise
	Kept           swing.Kept
}

// NotComparedError reports what is missing to compare a finished craft with the
// promise of its map.
type NotComparedError struct{ Why remark.Remark }

func (e *NotComparedError) Error() string {
	return "the finished craft is not compared with its map: " + e.Why.Name()
}

// Compare compares the newest calibration of the finished craft that is stored in
// dir, less the newest of the loose module, with the promise for the chosen spot. A nil choice, a missing calibration and a map without a steady
// part give a *NotComparedError; a stored calibration that cannot be
// read gives the error of logbook.LoadCalibration.
func Compare(dir, module string, found *evaluate.Findings, choice *logbook.Choice) (*Comparison, error) {
	onCraft, err := logbook.NewestCalibration(dir, module, true)
	if err != nil {
		return nil, err
	}
	if onCraft == nil {
		return nil, &NotComparedError{remark.New("swing.not-compared:calibration")}
	}
	loose, err := logbook.NewestCalibration(dir, module, false)
	if err != nil {
		return nil, err
	}
	if loose == nil {
		return nil, &NotComparedError{remark.New("swing.not-compared:loose")}
	}
	if choice == nil {
		return nil, &NotComparedError{remark.New("swing.not-compared:spot")}
	}
	p, kept, err := PromiseAt(found, rank.ChosenMount(choice), onCraft, loose)
	if err != nil {
		return nil, &NotComparedError{remark.New("swing.not-compared:promise")}
	}
	return &Comparison{onCraft, loose, p, kept}, nil
}

// ErrNoPromise reports that the map has no steady part to promise.
var ErrNoPromise = errors.New("the map promises nothing: no vectors of the steady part were measured")

// PromiseAt compares what the map promises for the module at a place with what
// a calibration of the finished craft found, as Promise does. A module whose
// axes are not known is taken to lie as the craft does. The error wraps
// ErrNoPromise where the map has no steady part.
func PromiseAt(found *evaluate.Findings, at rank.Mount, onCraft, loose *logbook.Calibration) (swing.SteadyPromise, swing.Kept, error) {
	if found.Map == nil || found.Map.Steady == nil {
		return swing.SteadyPromise{}, swing.Kept{}, ErrNoPromise
	}
	module := found.Craft.Module
	axes := magmath.Identity()
	if module.Axes != nil {
		axes = *module.Axes
	}
	mean, cov := found.Map.Steady.At(module.SensorAt(at.At, at.HeightMM))
	p, kept := Promise(onCraft, loose, axes, ambientOf(found), mean, cov)
	return p, kept, nil
}

// ambientOf returns the field of the room in which the steady part was surveyed,
// craft frame, microtesla; zero where it is not known, or where the nose pointed in
// several directions.
func ambientOf(found *evaluate.Findings) r3.Vec {
	var ambient r3.Vec
	for i, r := range found.Rooms {
		switch {
		case r.FieldUT == nil:
		case i > 0 && ambient != (r3.Vec{}) && r3.Norm(r3.Sub(*r.FieldUT, ambient)) > sameAmbientUT:
			return r3.Vec{}
		default:
			ambient = *r.FieldUT
		}
	}
	return ambient
}

// sameAmbientUT is how far the fields of two rooms may differ that magnetise iron
// alike.
const sameAmbientUT = 3

// inducedUT is what the craft's iron, magnetised by the field, may add to a
// steady part that was surveyed in one direction only, where the calibrations do not
// tell it: one standard deviation a component. One microtesla is 2 % of a field of
// 50: a module some centimetres from a pack or a motor. Common practice, no source.
const inducedUT = 1.0

// What the matrices of two calibrations leave open of the induced part: they are
// symmetric, so that a turn of it is not seen, and each has a scale of its own.
// Common practice, no source.
const (
	unseenShare = 0.3 // of the induced part
	leastUT     = 0.1
)

// induced returns what the craft's iron adds to a steady part surveyed in the ambient
// field, craft frame, microtesla, and its standard uncertainty a component. A
// calibration turns the craft all round, so that its offset holds the permanent part
// alone, and its matrix the induced one: with S the soft iron, the matrices of the
// module on the craft and loose are as M and M (I + S)^-1. The mean gain stays out,
// since the two may have been scaled by fields of different strength.
//
// Source: the model of hard and soft iron that calibrations rest on, e.g. D.
// Gebre-Egziabher et al., Journal of Aerospace Engineering 19 (2006) 87.
func induced(onCraft, loose *logbook.Calibration, axes magmath.Mat3, ambient r3.Vec) (r3.Vec, float64) {
	const whole = 9 // parameters: the matrix has its cross terms
	inverse, ok := magmath.Mat3(onCraft.Matrix).Inverse()
	if ambient == (r3.Vec{}) || onCraft.Parameters < whole || loose.Parameters < whole || !ok {
		return r3.Vec{}, inducedUT
	}
	s := magmath.Mat3(loose.Matrix).Mul(inverse)
	gain := s.Trace() / 3
	d := s.Add(magmath.Diagonal(-gain, -gain, -gain)).Turn(axes).Apply(ambient)
	variance := (shapeVariance(onCraft) + shapeVariance(loose)) * r3.Norm2(ambient) / 9
	return d, math.Sqrt(variance + leastUT*leastUT + unseenShare*unseenShare*r3.Norm2(d)/3)
}

// shapeVariance returns the sum of the variances of the elements of a calibration's
// matrix less its mean gain, whose uncertainty is mostly that of the field and common
// to them.
func shapeVariance(c *logbook.Calibration) float64 {
	const first = 3 // rows of the offset come before the gains, then the three cross terms
	gains, all, sum := 0.0, 0.0, 0.0
	for i := first; i < first+3; i++ {
		gains += c.Covariance[i][i]
		sum += 2 * c.Covariance[i+3][i+3]
		for j := first; j < first+3; j++ {
			all += c.Covariance[i][j]
		}
	}
	return sum + max(0, gains-all/3)
}

// Promise compares the steady part that the map predicted for the module's
// sensor with what calibrations found: the offset by which that of the finished
// craft differs from that of the loose module, with what the ambient field of the
// survey (craft frame, microtesla; zero: not known) induces. axes turns sensor axes
// into the craft's; the covariances of both calibrations enter.
func Promise(onCraft, loose *logbook.Calibration, axes magmath.Mat3, ambient, predicted r3.Vec, cov magmath.Mat3) (swing.SteadyPromise, swing.Kept) {
	offset := func(c *logbook.Calibration) r3.Vec {
		return r3.Vec{X: c.OffsetUT[0], Y: c.OffsetUT[1], Z: c.OffsetUT[2]}
	}
	// A reading is the inverse of M times the field, plus the offset: M of the
	// loose module takes the module's own gains out of the difference.
	turn := axes.Mul(loose.Matrix)
	iron, sd := induced(onCraft, loose, axes, ambient)
	p := swing.SteadyPromise{
		Predicted: predicted, PredictedCov: cov, Induced: iron, InducedUT: sd,
		Found:    r3.Add(iron, turn.Apply(r3.Sub(offset(onCraft), offset(loose)))),
		FoundCov: offsetCov(onCraft).Add(offsetCov(loose)).Turn(turn),
	}
	return p, p.Compare()
}

// offsetCov returns the covariance of the offset; where only standard uncertainties
// were stored, theirs.
func offsetCov(c *logbook.Calibration) magmath.Mat3 {
	var m magmath.Mat3
	for i := range 3 {
		for j := range 3 {
			m[i][j] = c.Covariance[i][j]
		}
	}
	if m == (magmath.Mat3{}) {
		s := c.OffsetStandard
		m = magmath.Diagonal(s[0]*s[0], s[1]*s[1], s[2]*s[2])
	}
	return m
}
