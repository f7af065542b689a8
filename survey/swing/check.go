// Package swing holds the two checks of a finished craft: the arrow check, before
// the glue, and the swing, after it. In come captures, from CSV or from the craft
// folder, and the craft; out go the poses and readings that magmath/arrow and
// magmath/swing work on, and their results. Begin opens the file of a walk through
// poses or headings. Start at Check.Arrow and Series.Fit.
//
// Headings and poses are degrees clockwise seen from above. A mark is what a
// turntable shows; the Reference says to which magnetic direction mark 0 points.
package swing

import (
	"context"
	"time"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/magmath/remark"
	"quietmount/magmath/swing"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Check is the input of an arrow check.
type Check struct {
	Dwells     []Dwell
	Correction *survey.Correction // nil: the readings are taken as they are
	Calibrated bool               // they need no offset
	ZeroDeg    float64            // magnetic direction of what the poses call north
	ZeroSUDeg  float64            // its standard uncertainty
	PoseSUDeg  float64            // of one pose
}

// CheckOf returns the check that a file holds.
func CheckOf(f *logbook.SwingFile) (Check, error) {
	dwells, err := FromFile(f)
	h := f.Swing
	return Check{dwells, h.Correction, h.Calibrated, h.ZeroDeg, h.ZeroSUDeg, h.HeadingSU}, err
}

// Arrow evaluates the check at the craft's site, on its own date or now. axes
// are those that the module should have; nil: they are found anew, with the
// arrow to the nose.
func (c Check) Arrow(ctx context.Context, craft *survey.Craft, axes *magmath.Mat3, now time.Time) (arrow.Result, []arrow.Pose, error) {
	field := SiteOf(craft, now).Turned(c.ZeroDeg)
	poses, err := Poses(ctx, c.Dwells, c.Correction, field)
	if err != nil {
		return arrow.Result{}, nil, err
	}
	found, err := arrow.Check(poses, arrow.Options{
		Calibrated: c.Calibrated, PoseDeg: c.PoseSUDeg, ReferenceDeg: c.ZeroSUDeg, Field: field, Axes: axes,
	})
	return found, poses, err
}

// Series is the input of a swing.
type Series struct {
	Dwells       []Dwell
	Correction   *survey.Correction
	Axes         *magmath.Mat3 // nil: the sensor's x is taken for the nose and its z for down
	Reference    Reference
	HeadingSUDeg float64 // of one heading
	Exact        bool    // fitted values from the exact form
}

// SeriesOf returns the swing that a file holds.
func SeriesOf(f *logbook.SwingFile) (Series, error) {
	dwells, err := FromFile(f)
	h := f.Swing
	ref := Reference{Kind: h.Reference, ZeroDeg: h.ZeroDeg, SUDeg: h.ZeroSUDeg, Relative: h.Relative, From: remark.New("swing.from:stored", remark.Values{"text": h.ReferenceFrom})}
	return Series{Dwells: dwells, Correction: h.Correction, Axes: h.Axes, Reference: ref, HeadingSUDeg: h.HeadingSU}, err
}

// Fit fits the deviations. The error wraps
// swing.ErrTooFew where too few headings are there.
func (s Series) Fit(ctx context.Context) (swing.Result, []remark.Remark, error) {
	readings, remarks, err := Readings(ctx, s.Dwells, s.Correction, s.Axes, s.Reference)
	if err != nil {
		return swing.Result{}, nil, err
	}
	if s.Axes == nil && len(readings) > 0 && readings[0].Field != nil {
		remarks = append(remarks, remark.New("swing.no-axes"))
	}
	fitted, err := swing.Fit(readings, swing.Options{
		Relative: s.Reference.Relative, HeadingDeg: s.HeadingSUDeg, ReferenceDeg: s.Reference.SUDeg, Exact: s.Exact,
	})
	return fitted, remarks, err
}
