package words

import (
	"errors"

	"quietmount/magmath/arrow"
	"quietmount/magmath/remark"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/walk"
)

// hints say what to do about an error: the first that knows the error counts.
// The sentences are the keys "hint.NAME" of hint.txt.
var hints = []func(error) (remark.Remark, bool){
	is(evaluate.ErrNoRuns, remark.New("hint.no_runs")),
	as(func(e *arrow.PosesError) remark.Remark {
		if e.Missing == "" {
			return remark.Remark{}
		}
		return e.Missing.Held()
	}),
	is(walk.ErrInput, remark.New("hint.commands-ended")),
	is(logbook.ErrNoChoice, remark.New("hint.no_choice")),
	is(logbook.ErrNewerFormat, remark.New("hint.newer_format")),
	as(func(e *craftfile.MissingError) remark.Remark {
		dir := ""
		if e.Dir != "." {
			dir = Quote(e.Dir)
		}
		return remark.New("hint.no_craft", remark.Values{"dir": dir})
	}),
}

// is returns the hint r for the errors that wrap target.
func is(target error, r remark.Remark) func(error) (remark.Remark, bool) {
	return func(err error) (remark.Remark, bool) { return r, errors.Is(err, target) }
}

// as returns the hint that f makes of the errors that wrap an E; a zero remark
// of f leaves the error to the hints below.
func as[E error](f func(E) remark.Remark) func(error) (remark.Remark, bool) {
	return func(err error) (remark.Remark, bool) {
		e, ok := errors.AsType[E](err)
		if !ok {
			return remark.Remark{}, false
		}
		r := f(e)
		return r, !r.IsZero()
	}
}

// Hint returns what to do about an error, in the words of a face; empty if
// there is nothing to add to the error itself.
func Hint(face Face, err error) string {
	if err == nil {
		return ""
	}
	for _, known := range hints {
		if r, ok := known(err); ok {
			return face.Say(r)
		}
	}
	return ""
}
