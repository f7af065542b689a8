package guide

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// phase is the state of the walk.
type phase int

const (
	confirming phase = iota // the checklist
	moving                  // the present station was announced
	settling                // a capture was asked for; waiting for rest
	dwelling                // samples are being kept
	storing                 // Store was said; waiting for Stored or StoreFailed
	unsaved                 // storing failed; waiting for the operator
	over
)

// Walk is a walk in progress. It is not safe for use by several goroutines.
type Walk struct {
	cfg   Config
	rules Rules
	frame survey.Frame // of the readings
	still *dwell.Rest

	phase  phase
	paused bool
	silent bool            // no readings come, and the operator was told
	held   bool            // the operator pauses
	items  []remark.Remark // of the checklist, still to be confirmed
	shown  []remark.Remark // the whole checklist

	queue     []Visit // after the present visit
	now       Visit
	next      int // number of the next capture
	captures  []*logbook.Capture
	sinceBase int     // visits since the last base return
	baseTS    float64 // time of that return
	baseB     *r3.Vec // the field there, this run
	every     int     // visits between base returns, shortened after a poor one
	closing   bool    // the last base return has been queued

	ts        float64 // time of the last sample
	started   bool    // ts means something
	firstTS   float64 // time of the first sample
	goTS      float64 // when the present visit was announced
	saidTS    float64 // last Moving or Resting
	moved     bool    // away from the last capture's place
	unseen    bool    // the link was down since: a different level counts as moved
	awayUT    float64 // how different
	refused   int     // rejections in a row at this station
	reminded  bool
	redoing   bool // the present visit is a redo
	stopAfter bool // stop came while a capture was being stored

	settleTS float64
	dwell    dwellState
	pending  *logbook.Capture // Store was said for it
	verdict  verdict          // of the pending capture
	lastRaw  lastDwell        // for the stuck test
	pace     pace
	tested   int // captures compared with the reference field
	warned   map[slipKey]bool
}

// New prepares a walk. The error says why the set-up cannot be walked: no state,
// no stations, or a rhythm with too few pulses.
func New(cfg Config) (*Walk, error) {
	if err := cfg.check(); err != nil {
		return nil, err
	}
	w := &Walk{
		cfg: cfg, rules: cfg.Rules, frame: survey.NewFrame(cfg.Axes, cfg.Correction), still: dwell.NewRest(),
		every: cfg.Rules.BaseEvery, next: 1, warned: map[slipKey]bool{},
	}
	w.takeUp(cfg.Stored)
	if !cfg.SkipChecklist {
		fitted, cautions := ChecklistFor(cfg.Craft, cfg.State, cfg.Pulsed, cfg.Together...)
		w.items = append(fitted, cautions...)
		w.shown = slices.Clone(w.items)
	}
	return w, nil
}

// takeUp plans the visits that remain after the stored captures.
func (w *Walk) takeUp(stored []logbook.Capture) {
	have := map[string]int{}
	for i := range stored {
		c := stored[i]
		w.next = max(w.next, c.Number+1)
		w.captures = append(w.captures, &c)
		if c.Void == "" && c.Visit != logbook.VisitBase {
			have[c.Station]++
		}
	}
	for _, v := range w.cfg.Route.Visits {
		switch {
		case v.Kind == logbook.VisitBase:
		case have[v.Station.Name] > 0:
			have[v.Station.Name]--
		default:
			w.queue = append(w.queue, v)
		}
	}
}

// Start opens the walk: the checklist if there is one, else the first
// station. Call it once, before anything else.
func (w *Walk) Start() []Event {
	out := w.openingRemarks()
	if len(w.items) > 0 {
		out = append(out, Event{Kind: Checklist, Items: slices.Clone(w.items)})
		if !w.cfg.Unattended {
			return out
		}
	}
	return append(out, w.begin()...)
}

// openingRemarks returns the cautions that hold for the whole run.
func (w *Walk) openingRemarks() []Event {
	var out []Event
	for _, why := range w.cfg.Route.Warnings {
		out = append(out, warn(why))
	}
	if w.cfg.Resume {
		out = append(out, warn(remark.New("guide.resumed", remark.Values{"captures": w.valid(), "visits_left": len(w.queue)})))
	}
	if w.cfg.Axes == nil {
		out = append(out, warn(remark.New("guide.no-axes")))
	}
	return out
}

// begin reports that the walk is ready and announces the first visit.
func (w *Walk) begin() []Event {
	w.items = nil
	w.phase = moving
	if w.cfg.Route.Base != nil {
		w.queue = append([]Visit{{*w.cfg.Route.Base, logbook.VisitBase}}, w.queue...)
	}
	out := []Event{{Kind: Ready, Items: w.shown, Progress: w.progress(0)}}
	return append(out, w.advance()...)
}

// advance starts the next visit: a base return if one is due, else the next one
// planned, else the closing base return; without any it ends the walk.
func (w *Walk) advance() []Event {
	w.phase, w.redoing, w.refused, w.reminded = moving, false, 0, false
	switch {
	case w.baseDue():
		w.now = Visit{*w.cfg.Route.Base, logbook.VisitBase}
	case len(w.queue) > 0:
		w.now, w.queue = w.queue[0], w.queue[1:]
	case w.cfg.Route.Base != nil && !w.closing && w.sinceBase > 0:
		w.now, w.closing = Visit{*w.cfg.Route.Base, logbook.VisitBase}, true
	default:
		return w.finish(remark.New("guide.finished"))
	}
	return []Event{w.announce()}
}

// baseDue reports whether it is time to return to the base before the next
// visit.
func (w *Walk) baseDue() bool {
	if w.cfg.Route.Base == nil || w.baseB == nil || len(w.queue) == 0 || w.queue[0].Kind == logbook.VisitBase {
		return false
	}
	return w.sinceBase >= w.every || w.sinceBase > 0 && w.ts-w.baseTS >= w.rules.BaseSeconds
}

// announce asks for the present visit.
func (w *Walk) announce() Event {
	w.goTS = w.ts
	return Event{Kind: Go, Station: w.now.Station, Visit: w.now.Kind, Progress: w.progress(0)}
}

// finish ends the walk.
func (w *Walk) finish(why remark.Remark) []Event {
	var out []Event
	if w.dwell.loadOn {
		w.dwell.loadOn = false
		out = append(out, Event{Kind: Switch, Station: w.now.Station, On: false})
	}
	w.phase, w.paused, w.held = over, false, false
	return append(out, Event{Kind: Done, Why: why, Captures: w.valid(), Progress: w.progress(0)})
}

// Over reports whether the walk has ended.
func (w *Walk) Over() bool { return w.phase == over }

// Busy reports whether a capture is being taken or stored, so that a further
// capture asked for now would be ignored.
func (w *Walk) Busy() bool { return w.phase == settling || w.phase == dwelling || w.phase == storing }

// valid returns the number of captures that are not voided.
func (w *Walk) valid() int {
	n := 0
	for _, c := range w.captures {
		if c.Void == "" {
			n++
		}
	}
	return n
}

// Link reports the loss (up false) or return of the link to the probe, at ts
// seconds on the samples' clock. It discards a dwell in progress.
func (w *Walk) Link(up bool, ts float64) []Event {
	if w.phase == over || up != w.paused {
		return nil
	}
	w.see(ts)
	if up {
		w.paused = false
		w.unseen = true
		out := []Event{{Kind: Resumed, Why: remark.New("guide.link-back")}}
		if w.phase == moving && !w.held {
			out = append(out, w.announce())
		}
		return out
	}
	w.paused, w.silent = true, false
	var out []Event
	if w.phase == settling || w.phase == dwelling {
		out = w.abandon(remark.New("guide.link-lost:dwell"))
	}
	return append(out, Event{Kind: Paused, Why: remark.New("guide.link-lost")})
}

// Silence reports that no reading came for so many seconds although the link is
// up, or (0) that readings have resumed; the walk has no clock of its own. It
// discards a dwell in progress and asks to switch its load off, because the
// time that it was on is unknown.
func (w *Walk) Silence(seconds float64) []Event {
	if w.phase == over || w.paused || seconds <= 0 != w.silent {
		return nil
	}
	w.silent = seconds > 0
	if !w.silent {
		return []Event{warn(remark.New("guide.readings-back"))}
	}
	out := []Event{warn(remark.New("guide.silent", remark.Values{"for_s": seconds}))}
	if w.phase == dwelling || w.phase == settling {
		out = append(out, w.abandon(stale(seconds))...)
	}
	return out
}

// see advances the guide's clock, which never runs backwards.
func (w *Walk) see(ts float64) {
	if math.IsNaN(ts) || math.IsInf(ts, 0) {
		return
	}
	if !w.started {
		w.ts, w.firstTS, w.started = ts, ts, true
	}
	w.ts = max(w.ts, ts)
}

// stale returns the refusal of a dwell during which no readings came.
func stale(seconds float64) remark.Remark {
	return remark.New("guide.stale", remark.Values{"for_s": seconds})
}

func warn(why remark.Remark) Event { return Event{Kind: Warning, Why: why} }

// NeedsCommands reports whether the walk cannot go on without a command: the
// checklist is open, a capture must be requested, or one could not be saved.
func (w *Walk) NeedsCommands() bool {
	switch w.phase {
	case confirming, unsaved:
		return true
	case moving:
		return w.held || !w.cfg.HandsFree && !w.paused
	}
	return false
}
