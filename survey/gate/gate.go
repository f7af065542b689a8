// Package gate says whether findings may be trusted at all, before anything is
// promised from them.
//
// [Checks] asks a few questions of a survey as a whole, one file each: does the
// field dip the right way, are the axes mirrored or exchanged, is the field about
// as strong as the reference, did the probe's scale or attitude change from some
// capture on, did a stretch of captures read something else, does the map predict
// what was left out, was every load measured. A survey, an import and every answer
// are judged by the same function.
//
// A check that cannot be made abstains and says why: it is no failure, and no
// praise. [Untrusted] and [Open] turn the checks into verdicts.
//
// Vectors are in the craft frame (x forward, y right, z down), microtesla.
package gate

import (
	"context"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey/evaluate"
)

// State is the result of a check.
type State int

// The results.
const (
	Abstained State = iota // it could not be told
	Passed
	Failed
)

// Check is one question and its answer. Why says what was found; of a check that
// passed it is zero unless something was near to a limit.
type Check struct {
	Code  Code
	State State
	Why   remark.Remark
}

// Code names a check.
type Code string

// The checks, in the order in which they are made.
const (
	DipSign          Code = "dip_sign"
	Handedness       Code = "handedness"
	FieldRatio       Code = "field_ratio"
	Clipping         Code = "clipping"
	ScaleChange      Code = "scale_change"
	Stretch          Code = "stretch"
	LeftOut          Code = "left_out"
	LoadsNotMeasured Code = "loads_not_measured"
)

// subject is what the checks look at, prepared once.
type subject struct {
	f      *evaluate.Findings
	visits []evaluate.Visit
}

// Checks makes every check, in a fixed order. Findings made by hand have no
// captures; the checks that need some then abstain. It takes about as long as one
// map. Once ctx is done the checks that are left abstain.
func Checks(ctx context.Context, f *evaluate.Findings) []Check {
	s := subject{f: f, visits: f.Visits()}
	var out []Check
	for _, q := range []struct {
		code Code
		ask  func(context.Context, subject) Check
	}{
		{DipSign, dipSign}, {Handedness, handedness}, {FieldRatio, fieldRatio}, {Clipping, clipping},
		{ScaleChange, scaleChange}, {Stretch, stretch}, {LeftOut, leftOut}, {LoadsNotMeasured, loadsNotMeasured},
	} {
		var c Check
		if ctx.Err() == nil {
			c = q.ask(ctx, s)
		}
		c.Code = q.code
		out = append(out, c)
	}
	return out
}

// OfRun makes the checks that a single run can be asked: all but those of the map
// and of what else is to be measured.
func OfRun(ctx context.Context, f *evaluate.Findings) []Check {
	return slices.DeleteFunc(Checks(ctx, f), func(c Check) bool { return c.Code == LeftOut || c.Code == LoadsNotMeasured })
}

func passed() Check                   { return Check{State: Passed} }
func near(why remark.Remark) Check    { return Check{State: Passed, Why: why} }
func failed(why remark.Remark) Check  { return Check{State: Failed, Why: why} }
func abstain(why remark.Remark) Check { return Check{State: Abstained, Why: why} }

// Trusted reports whether no check of the measurements failed: what was captured
// can be believed, though a load may still be to measure.
func Trusted(all []Check) bool { return len(Untrusted(all)) == 0 }

// Untrusted returns the checks of the measurements that failed.
func Untrusted(all []Check) []Check {
	var out []Check
	for _, c := range all {
		if c.State == Failed && c.Code != LoadsNotMeasured {
			out = append(out, c)
		}
	}
	return out
}

// Open returns the checks that failed, those of what was not measured included:
// with one of them no verdict on a spot is final.
func Open(all []Check) []Check {
	var out []Check
	for _, c := range all {
		if c.State == Failed {
			out = append(out, c)
		}
	}
	return out
}

// Causes returns the failed checks that stand for themselves, in their order: axes
// that turn the dip round, and a scale that changes, make other checks fail with
// them, and a reader is told of one fault once.
func Causes(failed []Check) []Check {
	find := func(code Code) *Check {
		if i := slices.IndexFunc(failed, func(c Check) bool { return c.Code == code }); i >= 0 {
			return &failed[i]
		}
		return nil
	}
	dip, scale := find(DipSign), find(ScaleChange)
	var out []Check
	for _, c := range failed {
		switch {
		case c.Code == Handedness && dip != nil:
		case c.Code == Stretch && scale != nil && within(c.Why, scale.Why):
		default:
			out = append(out, c)
		}
	}
	return out
}

// within reports whether a stretch of captures lies in those of a change.
func within(stretch, change remark.Remark) bool {
	lastRun, _ := change.Values["to_run"].(int)
	last, _ := change.Values["to_capture"].(int)
	end, _ := stretch.Values["to_capture"].(int)
	s, c := stretch.Place, change.Place
	begins := s.Run > c.Run || s.Run == c.Run && s.Capture >= c.Capture
	return begins && (s.Run < lastRun || s.Run == lastRun && end <= last)
}

// ambient returns the mean field, craft frame, of the captures in which hardly
// anything but the room is read, of one set-up: those without the craft, or at the
// base station where nothing else was captured. n is their number.
func (s subject) ambient(room int) (mean r3.Vec, n int) {
	for _, base := range []bool{false, true} {
		for _, v := range s.visits {
			if v.Room == room && (!base && !v.Craft || base && s.atBase(v)) {
				mean, n = r3.Add(mean, v.B), n+1
			}
		}
		if n > 0 {
			return r3.Scale(1/float64(n), mean), n
		}
	}
	return mean, n
}

// baseCraftUT is the most that the craft may add at a base station that stands for
// the room, a standard deviation.
const baseCraftUT = 1.5

// atBase reports whether a visit was to a base station at which the craft hardly
// shows.
func (s subject) atBase(v evaluate.Visit) bool {
	return v.Base && (!v.Craft || v.PriorUT > 0 && v.PriorUT <= baseCraftUT)
}
