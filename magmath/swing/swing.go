// Package swing fits the deviation of a compass from a swing, finds what went wrong
// in one, and compares the steady part that a map promised with a calibration of
// the finished craft. Headings are degrees clockwise from magnetic north, deviation
// is magnetic less compass heading, east positive. In come Readings; out comes a
// Result: the table, coefficients with standard uncertainties, the likeliest cause
// of headings that do not fit, and remarks. Start at Fit.
package swing

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
)

// Reading is one heading of a swing, in the order in which they were taken.
type Reading struct {
	MagneticDeg float64 // of the nose by the reference
	CompassDeg  float64 // as the compass had it
	Field       *r3.Vec // as read, craft frame, level; nil: only the heading is known
}

// Options are what is known beside the readings.
type Options struct {
	Relative     bool    // the reference's zero is not known: A cannot be told
	HeadingDeg   float64 // standard uncertainty of one heading against the others; 0: 1 degree
	ReferenceDeg float64 // standard uncertainty of the reference as a whole
	Exact        bool    // fitted values from the exact form, where that can be fitted
}

// Row is a line of the deviation table.
type Row struct {
	MagneticDeg  float64
	CompassDeg   float64
	DeviationDeg float64
	FittedDeg    float64
	LeftOut      bool // named as wrong and not used
}

// Result is the result of a swing.
type Result struct {
	Relative    bool // A means nothing: the headings were turned until it came to zero
	Rows        []Row
	Approximate Coefficients // degrees, by least squares
	ApproxSU    Coefficients // their standard uncertainties
	Exact       bool         // the fitted values are those of the exact form
	ExactC      Coefficients // no dimension, by least squares; NaN where the deviations are too large for it
	ExactSU     Coefficients
	Classic     *Coefficients // degrees, by the navigator's formulas; nil: the eight points were not visited
	ClassicWhy  remark.Remark // why not

	DF           float64 // degrees of freedom of the standard uncertainties
	ResidualDeg  float64 // standard deviation of what the chosen fit leaves, NaN with nothing to spare
	ResidualP    float64 // probability of so much by chance, if a heading is as uncertain as stated; NaN with nothing to spare
	MaxDeviation float64 // largest of the table, degrees, sign dropped
	At           float64 // magnetic heading of that row
	Cause        Cause   // why the headings do not fit, if they do not
	Remarks      []remark.Remark
}

// What a swing needs.
const (
	fewestHeadings  = 5
	widestGapDeg    = 105.0
	usualHeadingDeg = 1.0 // marks on a turntable, a hand (common practice, no source)
	priorWeight     = 4.0 // degrees of freedom that HeadingDeg counts for: a factor of two (two standard deviations)
	sameHeadingDeg  = 3.0 // closer headings are one
)

// ErrTooFew reports that a swing cannot be evaluated: too few headings, or all on
// one side.
var ErrTooFew = errors.New("too few headings for a deviation curve")

// errNumber reports that a reading is no finite number.
var errNumber = errors.New("value is not a finite number")

// Fit fits the deviation curve by least squares and looks for what may
// have gone wrong. Five headings at least, none of the gaps between them over
// 105 degrees; eight are usual.
//
// The standard uncertainties pool the scatter of the residuals with the stated
// one, which counts for four degrees of freedom: their intervals use Student's
// t with DF.
func Fit(readings []Reading, o Options) (Result, error) {
	if o.HeadingDeg <= 0 {
		o.HeadingDeg = usualHeadingDeg
	}
	if err := checkReadings(readings); err != nil {
		return Result{}, err
	}
	if o.Relative {
		readings = about(readings)
	}
	s := Result{Relative: o.Relative, Rows: rowsOf(readings)}
	s.Cause = diagnose(readings, o)
	for _, i := range s.Cause.leftOut() {
		s.Rows[i].LeftOut = true
	}
	used := slices.DeleteFunc(slices.Clone(s.Rows), func(r Row) bool { return r.LeftOut })
	if err := s.fit(used, o); err != nil {
		return Result{}, err
	}
	if s.Classic, s.ClassicWhy = classic(s.Rows); s.Classic != nil && len(used) < len(s.Rows) {
		s.Classic, s.ClassicWhy = nil, remark.New("swing.no-classic:left-out")
	}
	s.finish(o)
	return s, nil
}

// about turns the reference until A is zero, as it must be done where nobody
// knows its direction. Readings that give no curve stay.
func about(readings []Reading) []Reading {
	c, _, _, err := fitApproximate(rowsOf(readings))
	if err != nil {
		return readings
	}
	out := slices.Clone(readings)
	for i := range out {
		out[i].MagneticDeg -= c.A
	}
	return out
}

func checkReadings(readings []Reading) error {
	var z []float64
	for i, r := range readings {
		if math.IsNaN(r.MagneticDeg+r.CompassDeg) || math.IsInf(r.MagneticDeg+r.CompassDeg, 0) {
			return fmt.Errorf("heading %d: %w", i+1, errNumber)
		}
		z = append(z, heading.Wrap360(r.MagneticDeg))
	}
	z = different(z)
	if len(z) < fewestHeadings {
		return fmt.Errorf("%w: %d different, and at least %d are needed; 8 all round are usual", ErrTooFew, len(z), fewestHeadings)
	}
	for i := range z {
		next := z[(i+1)%len(z)]
		if gap := heading.Wrap360(next - z[i]); gap > widestGapDeg {
			return fmt.Errorf("%w: none between %.0f and %.0f degrees; add some there", ErrTooFew, z[i], next)
		}
	}
	return nil
}

// different returns the headings, 0 to 360, rising, that are sameHeadingDeg or more
// from the one kept before: a row of close ones, as a slow turn gives, counts
// for as many as stand apart in it. It sorts z.
func different(z []float64) []float64 {
	slices.Sort(z)
	var kept []float64
	for _, a := range z {
		n := len(kept)
		if n == 0 || a-kept[n-1] >= sameHeadingDeg && kept[0]+360-a >= sameHeadingDeg {
			kept = append(kept, a)
		}
	}
	return kept
}

func rowsOf(readings []Reading) []Row {
	out := make([]Row, len(readings))
	for i, r := range readings {
		out[i] = Row{MagneticDeg: heading.Wrap360(r.MagneticDeg), CompassDeg: heading.Wrap360(r.CompassDeg), DeviationDeg: heading.Wrap180(r.MagneticDeg - r.CompassDeg)}
	}
	return out
}
