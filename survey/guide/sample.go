package guide

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// sayEveryS is the shortest time between two events Moving or Resting, in
// seconds of the samples
const sayEveryS = 0.25

// dwellState is the dwell in progress.
type dwellState struct {
	start    float64
	samples  []survey.Sample
	b        []r3.Vec // of the samples, craft frame
	restLost bool     // rest was lost in between
	prompts  []logbook.Prompt
	loadOn   bool // what the operator was told last
}

// Sample handles one reading. It ignores readings that are not finite or go
// back in time.
func (w *Walk) Sample(s survey.Sample) []Event {
	if w.phase == over || !usable(s) || w.started && s.TS < w.ts {
		return nil
	}
	w.see(s.TS)
	if w.paused {
		return nil
	}
	b := w.frame.Field(s.B)
	rest := w.still.Add(s.TS, b)
	w.moved = w.moved || rest.Moved || w.unseen && rest.AwayUT > w.awayUT
	w.lastRaw.see(s.B)
	switch w.phase {
	case moving:
		return w.whileMoving(b, rest)
	case settling:
		return w.whileSettling(b, rest)
	case dwelling:
		return w.whileDwelling(s, b, rest)
	}
	return nil
}

func usable(s survey.Sample) bool {
	return magmath.FiniteVec(s.B) && !math.IsNaN(s.TS) && !math.IsInf(s.TS, 0)
}

// whileMoving waits for the probe to come to the announced station; when
// captures start by themselves, for its rest there. Rest from before the
// announcement does not count, since the probe has yet to be moved.
func (w *Walk) whileMoving(b r3.Vec, rest dwell.State) []Event {
	rested := w.ts - max(rest.SinceTS, w.goTS)
	switch {
	case w.held || !w.cfg.HandsFree || !rest.AtRest:
	case w.moved && rested >= w.rules.HandsOffS:
		return w.startDwell()
	case !w.moved && !w.reminded && rested >= w.rules.RemindS:
		w.reminded = true
		return []Event{warn(remark.New("guide.not-moved"))}
	}
	return w.say(b, rest.AtRest, 0)
}

// whileSettling waits for rest after a capture was requested, and for a moment
// even at rest: the hand leaves key and probe, and readings from before a script
// moved the probe still arrive.
func (w *Walk) whileSettling(b r3.Vec, rest dwell.State) []Event {
	switch {
	case rest.AtRest && w.ts-max(w.settleTS, rest.SinceTS) >= w.handAway():
		return w.startDwell()
	case !rest.AtRest && w.ts-w.settleTS >= w.rules.SettleS:
		return w.abandon(remark.New("guide.unsteady", remark.Values{"within_s": w.rules.SettleS}))
	}
	return w.say(b, false, 0)
}

// In a stream younger than this the probe's noise is poorly known, so that slow
// movement may look like rest; then rest must last this many times longer.
const (
	youngS      = 5
	youngFactor = 3
)

// handAway returns how long rest must last before a dwell on command.
func (w *Walk) handAway() float64 {
	if w.ts-w.firstTS < youngS {
		return youngFactor * w.rules.HandAwayS
	}
	return w.rules.HandAwayS
}

// startDwell starts collecting samples. A pulsed dwell begins with the load off.
func (w *Walk) startDwell() []Event {
	w.phase = dwelling
	w.dwell = dwellState{start: w.ts}
	if !w.cfg.Pulsed {
		return nil
	}
	return []Event{w.prompt(false)}
}

// prompt tells the operator to switch and records the time.
func (w *Walk) prompt(on bool) Event {
	w.dwell.loadOn = on
	w.dwell.prompts = append(w.dwell.prompts, logbook.Prompt{TS: w.ts, On: on})
	return Event{Kind: Switch, Station: w.now.Station, On: on}
}

// No probe sends faster than this, except for delayed readings that arrive at
// once. Beyond it the clock of the readings has stopped, and the dwell would
// never end. Common practice, no source.
const (
	fastestHz = 5000
	burst     = 1000
)

// whileDwelling keeps a sample and ends the dwell when it is long enough.
func (w *Walk) whileDwelling(s survey.Sample, b r3.Vec, rest dwell.State) []Event {
	d := &w.dwell
	last := d.start
	if n := len(d.samples); n > 0 {
		last = d.samples[n-1].TS
	}
	if gap := s.TS - last; gap > w.rules.MaxGapS {
		return w.abandon(stale(gap))
	}
	d.samples, d.b = append(d.samples, s), append(d.b, b)
	d.restLost = d.restLost || !rest.AtRest
	elapsed := s.TS - d.start
	if n := len(d.samples); float64(n) > burst+fastestHz*elapsed {
		return w.abandon(remark.New("guide.stale:clock", remark.Values{"readings": n, "within_s": elapsed}))
	}
	if w.cfg.Pulsed {
		return w.whilePulsing(b, elapsed)
	}
	full := elapsed >= w.rules.DwellS && len(d.samples) >= w.rules.MinSamples
	if full || elapsed >= w.rules.MaxDwellS {
		return w.endDwell()
	}
	return w.say(b, true, w.dwellFraction(elapsed))
}

// dwellFraction returns the completed fraction of an unpulsed dwell.
func (w *Walk) dwellFraction(elapsed float64) float64 {
	time := elapsed / w.rules.DwellS
	count := float64(len(w.dwell.samples)) / float64(w.rules.MinSamples)
	return min(1, max(min(time, count), elapsed/w.rules.MaxDwellS))
}

// whilePulsing prompts at the rhythm and ends the dwell after it.
func (w *Walk) whilePulsing(b r3.Vec, elapsed float64) []Event {
	r := w.cfg.Rhythm
	if elapsed >= rhythmS(r) {
		return w.endDwell()
	}
	edges := len(w.dwell.prompts) - 1 // the first said that the load is off
	due := r.OffS + float64(edges/2)*(r.OnS+r.OffS)
	if edges%2 == 1 {
		due += r.OnS
	}
	if edges < 2*r.Pulses && elapsed >= due {
		if v := w.firstOff(edges); v.refused() {
			return w.abandon(v.refusal)
		}
		return []Event{w.prompt(edges%2 == 0)}
	}
	return w.say(b, true, elapsed/rhythmS(r))
}

// endDwell judges the dwell, and stores or refuses it.
func (w *Walk) endDwell() []Event {
	v := w.judge()
	if v.refused() {
		return w.abandon(v.refusal)
	}
	d := w.dwell
	w.verdict = v
	w.pending = &logbook.Capture{
		Number: w.next, Station: w.now.Station.Name, At: w.now.Station.At, Visit: w.now.Kind,
		Samples: d.samples, Prompts: d.prompts,
		BUT: v.b, UncertaintyUT: v.uncertainty,
	}
	w.dwell = dwellState{}
	w.phase = storing
	return []Event{{Kind: Store, Station: w.now.Station, Capture: w.pending}}
}

// abandon discards the dwell and announces the same station again. With
// captures that start by themselves, several refusals in a row make the walk
// wait until the probe was moved.
func (w *Walk) abandon(why remark.Remark) []Event {
	var out []Event
	if w.dwell.loadOn {
		out = append(out, Event{Kind: Switch, Station: w.now.Station, On: false})
	}
	w.dwell = dwellState{}
	w.phase = moving
	w.refused++
	out = append(out, Event{Kind: Rejected, Station: w.now.Station, Why: why})
	w.moved = true
	if w.cfg.HandsFree && w.refused >= w.rules.MaxRejections && why.Name() != CodeLinkLost {
		w.mustMove()
		w.refused, w.reminded = 0, false
		out = append(out, warn(remark.New("guide.not-moved:lift")))
	}
	if why.Name() == CodeLinkLost {
		return out // announced again when the link is back
	}
	return append(out, w.announce())
}

// mustMove requires the probe to move before a capture starts by itself.
func (w *Walk) mustMove() {
	w.still.Mark()
	w.moved, w.unseen = false, false
}

// say reports from time to time whether the probe moves or rests.
func (w *Walk) say(b r3.Vec, atRest bool, frac float64) []Event {
	if w.ts-w.saidTS < sayEveryS && w.saidTS != 0 {
		return nil
	}
	w.saidTS = w.ts
	kind := Moving
	if atRest {
		kind = Resting
	}
	return []Event{{Kind: kind, Station: w.now.Station, B: b, FromBase: w.fromBase(b), Progress: w.progress(frac)}}
}

// fromBase returns b less the field at the last base return.
func (w *Walk) fromBase(b r3.Vec) *r3.Vec {
	if w.baseB == nil {
		return nil
	}
	d := r3.Sub(b, *w.baseB)
	return &d
}

// lastDwell holds the last capture's readings, to detect a probe that has stopped
// measuring.
type lastDwell struct {
	station string
	last    r3.Vec
	have    bool
	changed [3]bool // since the last capture
}

func (l *lastDwell) see(raw r3.Vec) {
	if l.have {
		l.changed[0] = l.changed[0] || raw.X != l.last.X
		l.changed[1] = l.changed[1] || raw.Y != l.last.Y
		l.changed[2] = l.changed[2] || raw.Z != l.last.Z
	}
	l.last, l.have = raw, true
}
