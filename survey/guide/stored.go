package guide

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey/logbook"
)

// Stored reports that the pending capture is on the disk under this number. The
// walk then acknowledges it, compares it with its neighbours or the last base
// return, and announces the next visit.
func (w *Walk) Stored(number int) []Event {
	if w.phase != storing || w.pending == nil {
		return nil
	}
	c, v := w.pending, w.verdict
	c.Number = number
	w.next = max(w.next, number+1)
	w.pending = nil
	w.captures = append(w.captures, c)
	w.lastRaw.station, w.lastRaw.changed = c.Station, [3]bool{}
	w.mustMove()
	w.awayUT = max(1, 8*v.noise)
	w.pace.captured(w.ts)
	remarks := w.about(append(v.remarks, w.compare(c)...))
	changed := w.scaleChanged(c)
	w.count(c)
	done := Event{
		Kind: Captured, Station: w.now.Station, Visit: c.Visit, Capture: c,
		B: c.BUT, FromBase: w.fromBase(c.BUT), Difference: v.difference, Progress: w.progress(1),
	}
	out := append([]Event{done}, remarks...)
	if w.stopAfter {
		return append(out, w.finish(remark.New("guide.stopped"))...)
	}
	out = append(out, w.advance()...)
	if changed.IsZero() || w.Over() {
		return out
	}
	return append(append(out, warn(changed)), w.hold()...)
}

// about adds the station of the present visit to remarks that name no station.
func (w *Walk) about(remarks []Event) []Event {
	for i := range remarks {
		if remarks[i].Station.Name == "" {
			remarks[i].Station = w.now.Station
		}
	}
	return remarks
}

// StoreFailed reports that the pending capture could not be saved. The walk
// keeps it: the command CmdCapture tries to save it again, any other discards
// it.
func (w *Walk) StoreFailed(err error) []Event {
	if w.phase != storing || w.pending == nil {
		return nil
	}
	w.phase = unsaved
	out := []Event{warn(remark.New("guide.store-failed", remark.Values{"error": err.Error()}))}
	if w.stopAfter {
		w.pending = nil
		return append(out, w.finish(remark.New("guide.stopped"))...)
	}
	return out
}

// count counts visits and base returns.
func (w *Walk) count(c *logbook.Capture) {
	if c.Visit != logbook.VisitBase {
		w.sinceBase++
		return
	}
	b := c.BUT
	w.baseB, w.baseTS, w.sinceBase = &b, w.ts, 0
}

// compare compares a new capture with neighbours, base and reference.
func (w *Walk) compare(c *logbook.Capture) []Event {
	out := w.againstReference(c)
	if c.Visit == logbook.VisitBase {
		return append(out, w.misclosure(c)...)
	}
	return append(out, w.slips(c)...)
}

// misclosure compares a base return with the last one of this session. A poor
// one, even within the limits, brings the next return forward.
func (w *Walk) misclosure(c *logbook.Capture) []Event {
	if w.baseB == nil {
		return nil
	}
	by := math.Abs(r3.Norm(c.BUT) - r3.Norm(*w.baseB))
	turned := angleDeg(c.BUT, *w.baseB)
	w.every = w.rules.BaseEvery
	if by > w.rules.MisclosureUT/2 || turned > w.rules.MisclosDeg/2 {
		w.every = max(1, w.rules.BaseEvery/2)
	}
	var out []Event
	if by > w.rules.MisclosureUT {
		out = append(out, warn(remark.New("guide.base-field", remark.Values{"by_ut": by}).At(remark.Place{Station: c.Station})))
	}
	if turned > w.rules.MisclosDeg {
		out = append(out, warn(remark.New("guide.base-moved", remark.Values{"by_deg": turned}).At(remark.Place{Station: c.Station})))
	}
	return out
}

// referenceCaptures is the number of first captures that are compared with the
// reference field.
const referenceCaptures = 2

// againstReference tests the first captures for wrong units, for axes that
// point the wrong way and, where the nose's direction is known, for mirrored
// ones. It only warns: a magnetic object nearby could have the same effect.
func (w *Walk) againstReference(c *logbook.Capture) []Event {
	ref := w.cfg.Reference
	if ref == nil || ref.FUT <= 0 || w.tested >= referenceCaptures {
		return nil
	}
	w.tested++
	var out []Event
	once := func(why remark.Remark) {
		key := slipKey{why.Code, 0}
		if !w.warned[key] {
			w.warned[key] = true
			out = append(out, warn(why))
		}
	}
	got := r3.Norm(c.BUT)
	if got < 0.7*ref.FUT || got > 1.4*ref.FUT {
		once(remark.New("guide.magnitude", remark.Values{"b_ut": got, "reference_ut": ref.FUT}))
		return out
	}
	if ref.DipDeg == nil || w.cfg.Axes == nil {
		return out
	}
	dip := *ref.DipDeg * math.Pi / 180
	want := ref.FUT * math.Sin(dip)
	if math.Abs(want) > 0.25*ref.FUT && c.BUT.Z*want < 0 && math.Abs(c.BUT.Z) > 0.15*ref.FUT {
		once(remark.New("guide.dip-sign"))
	}
	if ref.NoseDeg != nil && mirrored(c.BUT, ref.FUT*math.Cos(dip), *ref.NoseDeg) {
		once(remark.New("guide.mirrored"))
	}
	return out
}

// mirrored reports whether the horizontal field b fits the nose's magnetic
// direction far better with y reversed. It is false if b is along the nose, or
// opposite.
func mirrored(b r3.Vec, h, noseDeg float64) bool {
	sin, cos := math.Sincos(noseDeg * math.Pi / 180)
	straight := math.Hypot(b.X-h*cos, b.Y+h*sin)
	mirror := math.Hypot(b.X-h*cos, b.Y-h*sin)
	return math.Abs(sin) > 0.4 && mirror < 0.3*h && mirror < straight/2.5
}

// pace is the speed of the walk.
type pace struct {
	last      float64
	have      bool
	intervals []float64
}

func (p *pace) captured(ts float64) {
	if p.have {
		p.intervals = append(p.intervals, ts-p.last)
	}
	p.last, p.have = ts, true
}

// progress returns the progress of the walk, with the dwell at frac.
func (w *Walk) progress(frac float64) Progress {
	left := len(w.queue)
	if w.phase != over && w.phase != confirming && w.phase != storing && w.now.Station.Name != "" {
		left++
	}
	bases, in := w.basesLeft()
	p := Progress{Done: w.valid(), DwellFrac: min(1, max(0, frac)), BaseReturnIn: in}
	if w.phase == over {
		p.Total = p.Done
		return p
	}
	p.Total = p.Done + left + bases
	p.SecondsLeft = float64(left+bases) * w.perVisit()
	return p
}

// basesLeft counts the base returns still to come beyond the present visit
// and the visits before the next.
func (w *Walk) basesLeft() (count, in int) {
	if w.cfg.Route.Base == nil {
		return 0, 0
	}
	stations := 0
	for _, v := range w.queue {
		if v.Kind != logbook.VisitBase {
			stations++
		}
	}
	in = max(0, w.every-w.sinceBase)
	if w.closing {
		return 0, in
	}
	return 1 + stations/max(w.every, 1), min(in, stations)
}

// perVisit returns the median time of a visit, from the pace so far or from the
// plan.
func (w *Walk) perVisit() float64 {
	if len(w.pace.intervals) >= 3 {
		return median(slices.Clone(w.pace.intervals))
	}
	return w.cfg.Route.visitS(logbook.VisitStation, w.rules)
}
