package guide

import (
	"fmt"
	"slices"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Command handles a command of the operator. It ignores a request for a capture
// while one is being taken, and everything after the end.
func (w *Walk) Command(c Command) []Event {
	if w.phase == over {
		return nil
	}
	switch c.Kind {
	case CmdNote:
		return w.note(c.Text)
	case CmdStop:
		return w.stop()
	}
	if w.phase == confirming {
		return w.confirm(c)
	}
	if w.phase == storing {
		return []Event{warn(remark.New("guide.busy"))}
	}
	switch c.Kind {
	case CmdCapture:
		return w.captureNow()
	case CmdConfirm:
		return nil
	case CmdPause:
		return w.hold()
	case CmdGoOn:
		return w.goOn()
	case CmdRedo:
		return w.redo(strings.TrimSpace(c.Text))
	case CmdSkip:
		return w.skip()
	case CmdGoto:
		return w.jump(c.Text)
	}
	return []Event{warn(remark.New("guide.unknown-command", remark.Values{"command": fmt.Sprintf("%.40s", c.Kind)}))}
}

func (w *Walk) note(text string) []Event {
	if strings.TrimSpace(text) == "" {
		return nil
	}
	return []Event{{Kind: Noted, Station: w.now.Station, Text: text}}
}

func (w *Walk) stop() []Event {
	if w.phase == storing {
		w.stopAfter = true
		return nil
	}
	w.pending = nil
	return w.finish(remark.New("guide.stopped"))
}

// confirm ticks one item off the checklist.
func (w *Walk) confirm(c Command) []Event {
	if c.Kind != CmdConfirm && c.Kind != CmdCapture {
		return []Event{warn(remark.New("guide.confirm-first"))}
	}
	if len(w.items) > 0 {
		w.items = w.items[1:]
	}
	if len(w.items) > 0 {
		return []Event{{Kind: Checklist, Items: slices.Clone(w.items)}}
	}
	return w.begin()
}

// captureNow starts a dwell, or tries again to save an unsaved capture.
func (w *Walk) captureNow() []Event {
	switch {
	case w.held:
		return w.goOn()
	case w.phase == unsaved:
		w.phase = storing
		return []Event{{Kind: Store, Capture: w.pending}}
	case w.paused:
		return []Event{warn(remark.New("guide.link-lost:capture"))}
	case w.silent:
		return []Event{warn(remark.New("guide.silent:capture"))}
	case w.phase == moving:
		w.phase, w.settleTS = settling, w.ts
	}
	return nil
}

// hold pauses the walk: it discards a dwell in progress, and none begins until
// the operator continues.
func (w *Walk) hold() []Event {
	if w.held || w.phase == unsaved {
		return nil
	}
	out := w.drop()
	w.held, w.phase = true, moving
	return append(out, Event{Kind: Paused, Station: w.now.Station, Why: remark.New("guide.held")})
}

// goOn ends a pause and announces the present station again.
func (w *Walk) goOn() []Event {
	if !w.held {
		return nil
	}
	w.held = false
	return []Event{{Kind: Resumed, Station: w.now.Station, Why: remark.New("guide.goes-on")}, w.announce()}
}

// redo voids the last capture that counts, or the last at a named station,
// and goes back there. The present visit comes after it.
func (w *Walk) redo(name string) []Event {
	here := name == "" || strings.EqualFold(name, w.now.Station.Name)
	if w.redoing && here && w.phase != unsaved {
		return append(w.drop(), warn(remark.New("guide.nothing-to-redo:already")))
	}
	last := w.lastValid(name)
	if last == nil {
		if name == "" {
			return []Event{warn(remark.New("guide.nothing-to-redo"))}
		}
		return []Event{warn(remark.New("guide.nothing-to-redo:here").At(remark.Place{Station: name}))}
	}
	out := w.drop()
	again := remark.New("guide.redo")
	last.Void = again.Code
	station := survey.Station{Name: last.Station, At: last.At}
	out = append(out, Event{Kind: Voided, Station: station, Capture: last, Why: again})
	w.queue = append([]Visit{w.now}, w.queue...)
	w.forgetBase(last)
	w.goTo(Visit{station, redoKind(last)}, true)
	return append(out, w.announce())
}

// redoKind returns the kind of the visit that replaces a capture; that of a base
// reading stays a base reading.
func redoKind(c *logbook.Capture) logbook.Visit {
	if c.Visit == logbook.VisitBase {
		return logbook.VisitBase
	}
	return logbook.VisitRedo
}

// goTo makes v the present visit.
func (w *Walk) goTo(v Visit, redoing bool) {
	w.now, w.phase, w.redoing, w.refused, w.reminded = v, moving, redoing, 0, false
}

// forgetBase removes the effects of a voided base reading.
func (w *Walk) forgetBase(voided *logbook.Capture) {
	if voided.Visit != logbook.VisitBase {
		return
	}
	w.baseB = nil
	for _, c := range w.captures {
		if c.Void == "" && c.Visit == logbook.VisitBase {
			w.baseB = &c.BUT
		}
	}
}

// drop discards a dwell, an unsaved capture or a pause because the operator goes
// to another station.
func (w *Walk) drop() []Event {
	var out []Event
	if w.dwell.loadOn {
		out = append(out, Event{Kind: Switch, Station: w.now.Station, On: false})
	}
	w.dwell, w.pending, w.held = dwellState{}, nil, false
	if w.phase != moving {
		w.phase = moving
	}
	return out
}

// lastValid returns the last capture that counts, at the named station if there is
// a name; nil if there is none.
func (w *Walk) lastValid(name string) *logbook.Capture {
	for _, c := range slices.Backward(w.captures) {
		if c.Void == "" && (name == "" || strings.EqualFold(c.Station, name)) {
			return c
		}
	}
	return nil
}

func (w *Walk) skip() []Event {
	out := w.drop()
	out = append(out, Event{Kind: Skipped, Station: w.now.Station, Why: remark.New("guide.operator")})
	if w.now.Kind == logbook.VisitBase {
		// A skipped base reading counts as made, else it would be due again at once.
		w.sinceBase, w.baseTS = 0, w.ts
	}
	return append(out, w.advance()...)
}

// jump goes to a named station: to its planned visit if there is one, else
// for a further capture. The present visit comes after it.
func (w *Walk) jump(name string) []Event {
	name = strings.TrimSpace(name)
	if name == "" {
		return []Event{warn(remark.New("guide.unknown-station:unnamed"))}
	}
	v, ok := w.find(name)
	if !ok {
		at := remark.Place{Station: name}
		if near := survey.Nearest(name, w.names()); near != "" {
			return []Event{warn(remark.New("guide.unknown-station:near", remark.Values{"near": near}).At(at))}
		}
		return []Event{warn(remark.New("guide.unknown-station").At(at))}
	}
	out := w.drop()
	if v.Station.Name != w.now.Station.Name {
		if i := slices.Index(w.queue, v); i >= 0 { // the first alone: a station may have several repeats to come
			w.queue = slices.Delete(w.queue, i, i+1)
		}
		w.queue = append([]Visit{w.now}, w.queue...)
		w.goTo(v, false)
	}
	return append(out, w.announce())
}

// find returns the visit to the station of a name, in any letter case: the visit
// planned for it, else a repeat, else the base.
func (w *Walk) find(name string) (Visit, bool) {
	for _, q := range append([]Visit{w.now}, w.queue...) {
		if strings.EqualFold(q.Station.Name, name) {
			return q, true
		}
	}
	for _, v := range w.cfg.Route.Visits {
		if strings.EqualFold(v.Station.Name, name) {
			return Visit{v.Station, again(v.Kind)}, true
		}
	}
	if b := w.cfg.Route.Base; b != nil && strings.EqualFold(b.Name, name) {
		return Visit{*b, logbook.VisitBase}, true
	}
	if w.cfg.Craft == nil {
		return Visit{}, false
	}
	for _, s := range w.cfg.Craft.Stations() {
		if strings.EqualFold(s.Name, name) {
			return Visit{s, logbook.VisitStation}, true
		}
	}
	return Visit{}, false
}

// again returns the kind of a further visit to a station that was planned as kind.
func again(kind logbook.Visit) logbook.Visit {
	if kind == logbook.VisitBase {
		return kind
	}
	return logbook.VisitRepeat
}

// names returns all names that goto takes, sorted.
func (w *Walk) names() []string {
	var names []string
	for _, v := range w.cfg.Route.Visits {
		names = append(names, v.Station.Name)
	}
	if w.cfg.Craft != nil {
		for _, s := range w.cfg.Craft.Stations() {
			names = append(names, s.Name)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}
