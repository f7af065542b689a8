package words

import (
	"errors"
	"path/filepath"

	"quietmount/magmath/arrow"
	"quietmount/magmath/remark"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
	"quietmount/survey/walk"
)

// hints say what to do about an error: the first that knows the error counts.
// The sentences are the keys "hint.NAME" of hint.txt.
var hints = []func(error) (remark.Remark, bool){
	as(func(e *link.UndecidedError) remark.Remark {
		return remark.New("hint.undecided", remark.Values{"why": e.Guess.Why, "settle": e.Guess.Settle})
	}),
	as(portHint),
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
	as(func(e *logbook.RunError) remark.Remark {
		return remark.New("hint.damaged_run", remark.Values{"dir": Quote(filepath.Dir(filepath.Dir(e.File)))})
	}),
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

// portHint returns what to do about a port that does not open.
func portHint(e *link.OpenError) remark.Remark {
	switch e.Reason {
	case link.NotFound:
		return remark.New("hint.port-not-found")
	case link.Busy:
		return remark.New("hint.port-busy")
	case link.Denied:
		return remark.New("hint.port-denied", remark.Values{"group": e.Group})
	case link.NotSerial:
		return remark.New("hint.port-not-serial")
	case link.BadBaud:
		return remark.New("hint.port-baud", remark.Values{"common": link.BaudNames()})
	}
	return remark.Remark{}
}
