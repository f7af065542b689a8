package guide

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey/logbook"
)

// Limits of a change of scale while the walk goes on: far over what a hand, a room
// or a slip does, so that a walk that is stopped has a reason. Smaller changes are
// found when the survey is evaluated. Own judgement, no source.
const (
	scaleRatio  = 0.08 // of the magnitude, against the same place before
	scaleUT     = 4.   // and in microtesla
	scaleTurn   = 20.  // degrees, at the base
	scaleStrong = 1.5  // times the base's field: beside a magnet a slip looks the same
)

// scaleChanged compares a base return or a repeat with the capture of the same
// place before it, and returns why the walk must stop; zero if all is well.
func (w *Walk) scaleChanged(c *logbook.Capture) remark.Remark {
	before := w.before(c)
	if before == nil {
		return remark.Remark{}
	}
	was, is := r3.Norm(before.BUT), r3.Norm(c.BUT)
	if c.Visit != logbook.VisitBase && (w.baseB == nil || max(was, is) > scaleStrong*r3.Norm(*w.baseB)) || !(was > 0) {
		return remark.Remark{}
	}
	ratio, turned := is/was, angleDeg(c.BUT, before.BUT)
	at := remark.Place{Station: c.Station, Capture: before.Number}
	switch {
	case math.Abs(ratio-1) > scaleRatio && math.Abs(is-was) > scaleUT:
		return remark.New("guide.scale", remark.Values{"ratio": ratio, "was_ut": was, "is_ut": is}).At(at)
	case c.Visit == logbook.VisitBase && turned > scaleTurn:
		return remark.New("guide.turned", remark.Values{"by_deg": turned}).At(at)
	}
	return remark.Remark{}
}

// before returns the last capture that counts of the place of c before it; nil if
// there is none.
func (w *Walk) before(c *logbook.Capture) *logbook.Capture {
	for _, o := range slices.Backward(w.captures) {
		if o != c && o.Void == "" && o.Station == c.Station && r3.Norm(r3.Sub(o.At, c.At)) < 1 {
			return o
		}
	}
	return nil
}
