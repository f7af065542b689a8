package conduct

import (
	"context"
	"errors"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// State is what the pages are shown of a walk, a proof, an arrow check or a
// swing, topic "walk" or "pose". It is whole each time: a page that comes late
// needs nothing else.
type State struct {
	What      string `json:"what"`  // "walk" (a proof too), "arrow" or "swing"
	Phase     string `json:"phase"` // "waiting", "checklist", "measuring", "held", "lost", "done", "failed"
	Why       string `json:"why"`   // of "lost", "held", "done" and "failed", for people
	Finished  bool   `json:"finished"`
	HandsFree bool   `json:"hands_free"`

	Checklist []string `json:"checklist"`
	Confirmed int      `json:"confirmed"` // of its items

	Run    int     `json:"run"`    // of a walk: its number; 0 before the file is begun
	State  string  `json:"state"`  // of a walk
	Pulsed bool    `json:"pulsed"` // of a walk
	File   string  `json:"file"`
	Rhythm *Rhythm `json:"rhythm"` // of a pulsed run
	Base   string  `json:"base"`   // name of the base station; empty: none

	Station string     `json:"station"` // where the probe is wanted: station, pose or mark
	Visit   string     `json:"visit"`
	At      [3]float64 `json:"at_mm"`
	Words   string     `json:"words"`   // how to hold the craft; of a walk empty
	Drawing *drawing   `json:"drawing"` // of that
	LoadOn  *bool      `json:"load_on"` // what the operator was told last; null outside of a pulsed dwell
	Switch  int        `json:"switch"`  // prompts so far in this dwell, the first says off

	Done         int     `json:"visits_done"`
	Total        int     `json:"visits_planned"`
	LeftS        float64 `json:"left_s"`
	BaseReturnIn int     `json:"base_return_in"`

	Marks []Mark    `json:"marks"`
	Log   []logLine `json:"log"` // the newest last
}

// Rhythm is the rhythm of a pulsed dwell.
type Rhythm struct {
	Pulses int     `json:"pulses"`
	OnS    float64 `json:"on_s"`
	OffS   float64 `json:"off_s"`
}

// Mark is a station, a pose or a mark of a turntable as far as the work has
// come. A swing has its first mark twice.
type Mark struct {
	Name     string     `json:"name"`
	At       [3]float64 `json:"at_mm"`
	Captures int        `json:"captures"` // that count
	ValueUT  *float64   `json:"value_ut"` // departure from base; of a pulsed run, what the load makes
	SDUT     *float64   `json:"standard_uncertainty_ut"`
	Skipped  bool       `json:"skipped"`
}

// logLine is something that happened.
type logLine struct {
	Kind string `json:"kind"` // of the event: captured, rejected, warning, ...
	Text string `json:"text"`
}

// live is the probe as the guide sees it, topic "walk_live" or "pose_live".
type live struct {
	AtMS      int64       `json:"at_ms"` // of the clock, when the reading came
	Word      string      `json:"word"`  // "moving", "rest", "hold"
	Frac      float64     `json:"frac"`  // of the dwell
	BUT       float64     `json:"b_ut"`
	FromBase  *[3]float64 `json:"from_base_ut"` // craft frame; null before the first base reading
	Departure *float64    `json:"departure_ut"` // its length
}

// cue is an event to be heard, topic "walk_cue" or "pose_cue".
type cue struct {
	AtMS    int64  `json:"at_ms"` // of the clock: an old cue that is replayed makes no sound
	Kind    string `json:"kind"`  // captured, rejected, base, go, load, warning, lost, back, done, failed
	Station string `json:"station"`
	On      bool   `json:"on"`
	Text    string `json:"text"`
}

// face turns the events of one piece of work into what the pages show.
type face struct {
	conductor *Conductor
	topic     string

	mu        sync.Mutex
	now       State
	live      live
	checklist []remark.Remark
	header    logbook.Header // turns readings into the craft frame
	base      *r3.Vec        // the field at the last base return
	dwellS    float64        // length of a dwell; 0: live.Frac goes on with the guide's events only
	fracTS    float64        // when the guide gave live.Frac, on the samples' clock
	lastTS    float64        // of the newest reading
	held      bool           // the operator pauses
}

func newFace(c *Conductor, topic string, begin State, checklist []remark.Remark) *face {
	begin.Phase = "waiting"
	begin.Checklist, begin.Marks, begin.Log = words.Page.All(checklist), []Mark{}, []logLine{}
	return &face{conductor: c, topic: topic, now: begin, checklist: checklist}
}

func (f *face) publish() { f.conductor.Stream.Show(f.topic, f.now) }

// begun takes over the header of a run, its stations, and the captures that a
// resumed run has already.
func (f *face) begun(r *walk.Begun, s walk.Setup) {
	f.mu.Lock()
	defer f.mu.Unlock()
	h := r.Writer.Header()
	f.header, f.dwellS = h, s.Rules.DwellS
	f.now.Run, f.now.File, f.now.Pulsed = h.Run, r.About.File, h.Pulsed
	f.now.Confirmed = len(f.now.Checklist)
	if r.Route.Base != nil {
		f.now.Base = r.Route.Base.Name
	}
	if h.Pulsed {
		rhythm := r.Route.Rhythm
		f.now.Rhythm = &Rhythm{rhythm.Pulses, rhythm.OnS, rhythm.OffS}
		f.dwellS = rhythm.OffS + float64(rhythm.Pulses)*(rhythm.OnS+rhythm.OffS)
	}
	for _, v := range r.Route.Visits {
		f.mark(v.Station, false)
	}
	for _, have := range s.Folder.Runs {
		if !s.Resume || have.Header.Run != h.Run {
			continue
		}
		var base *r3.Vec
		for _, c := range have.Valid() {
			if c.Visit == logbook.VisitBase {
				base = &c.BUT
			}
			f.count(c, base, nil)
		}
	}
	for _, kept := range r.Remarks {
		f.log("warning", words.Page.Say(kept), "")
	}
	f.publish()
}

// mark returns the mark of a station: where there are two of its name, the first
// without a capture, or the last with one if taken. A station without a mark is
// given one.
func (f *face) mark(s survey.Station, taken bool) *Mark {
	at := -1
	for i, m := range f.now.Marks {
		if m.Name == s.Name && (at < 0 || taken && m.Captures > 0 || !taken && f.now.Marks[at].Captures > 0) {
			at = i
		}
	}
	if at < 0 {
		at = len(f.now.Marks)
		f.now.Marks = append(f.now.Marks, Mark{Name: s.Name, At: vec(s.At)})
	}
	return &f.now.Marks[at]
}

// count adds a capture to its mark. base is the field at the base return before
// it, difference that of a pulsed one; nil where there is none.
func (f *face) count(c logbook.Capture, base, difference *r3.Vec) {
	m := f.mark(survey.Station{Name: c.Station, At: c.At}, false)
	m.Captures++
	m.Skipped = false
	m.SDUT = new(c.UncertaintyUT)
	switch {
	case difference != nil:
		m.ValueUT = new(r3.Norm(*difference))
	case base != nil && !f.now.Pulsed:
		m.ValueUT = new(r3.Norm(r3.Sub(c.BUT, *base)))
	}
}

// show shows an event. walk.Run calls it, after a capture is on the disk.
func (f *face) show(e guide.Event) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	if e.Kind == guide.Moving || e.Kind == guide.Resting {
		f.reading(e)
		return nil
	}
	f.take(e)
	f.publish()
	return nil
}

// reading takes over how the probe rests, which the guide says now and then.
func (f *face) reading(e guide.Event) {
	f.live.Word = "moving"
	if e.Kind == guide.Resting {
		f.live.Word = "rest"
	}
	if e.Progress.DwellFrac > 0 {
		f.live.Word = "hold"
	}
	f.live.Frac, f.fracTS = e.Progress.DwellFrac, f.lastTS
	f.base = baseOf(e)
	f.progress(e.Progress)
}

// baseOf returns the field at the base that the event's departure is taken from.
func baseOf(e guide.Event) *r3.Vec {
	if e.FromBase == nil {
		return nil
	}
	return new(r3.Sub(e.B, *e.FromBase))
}

func (f *face) progress(p guide.Progress) {
	if p.Total > 0 {
		f.now.Done, f.now.Total, f.now.LeftS, f.now.BaseReturnIn = p.Done, p.Total, p.SecondsLeft, p.BaseReturnIn
	}
}

// take turns an event into state, a line of the log, and a cue to be heard.
func (f *face) take(e guide.Event) {
	say, at, why := f.conductor.Say, e.Station.Name, words.Page.Say(e.Why)
	switch e.Kind {
	case guide.Checklist:
		f.now.Phase, f.now.Confirmed = "checklist", len(f.now.Checklist)-len(e.Items)
	case guide.Ready:
		f.now.Phase = "measuring"
		f.progress(e.Progress)
	case guide.Go:
		f.announce(e)
	case guide.Switch:
		f.now.LoadOn = new(e.On)
		f.now.Switch++
		f.cue(cue{Kind: "load", Station: at, On: e.On})
	case guide.Captured:
		f.captured(e)
	case guide.Rejected:
		f.now.LoadOn, f.live.Frac = nil, 0
		f.log("rejected", say("run.rejected", at, why), at)
	case guide.Skipped:
		m := f.mark(e.Station, false)
		m.Skipped = m.Captures == 0
		f.log("skipped", say("run.skipped", at), at)
	case guide.Voided:
		m := f.mark(e.Station, true)
		if m.Captures = max(0, m.Captures-1); m.Captures == 0 {
			m.ValueUT, m.SDUT = nil, nil
		}
		f.log("voided", say("run.voided", e.Capture.Number, at), at)
	case guide.Noted:
		f.log("noted", say("run.noted", e.Text), at)
	case guide.Warning:
		f.log("warning", why, at)
	case guide.Paused:
		f.pause(e)
	case guide.Resumed:
		f.resume(e)
	case guide.Done:
		// The phase is done when the file is closed and the probe free: see end.
		f.now.Why, f.now.Finished, f.now.LoadOn = why, e.Code() == guide.CodeFinished, nil
		f.log("done", f.now.Why, "")
	}
}

// pause shows that nothing is captured: the operator pauses, or the link is
// lost.
func (f *face) pause(e guide.Event) {
	f.now.Phase, f.now.Why = "lost", words.Page.Say(e.Why)
	if e.Code() == guide.CodeHeld {
		f.held = true
		f.now.Phase = "held"
	}
	f.now.LoadOn, f.live.Frac = nil, 0
	f.log(f.now.Phase, f.now.Why, "")
}

// resume ends a pause. What the operator paused stays paused when a lost link
// comes back.
func (f *face) resume(e guide.Event) {
	if e.Code() == guide.CodeGoesOn {
		f.held = false
	}
	f.now.Phase, f.now.Why = "measuring", ""
	if f.held {
		f.now.Phase = "held"
	}
	f.log("back", words.Page.Say(e.Why), "")
}

// announce names the next stop.
func (f *face) announce(e guide.Event) {
	f.held = false
	f.now.Phase, f.now.Why = "measuring", ""
	f.now.Station, f.now.Visit, f.now.At = e.Station.Name, string(e.Visit), vec(e.Station.At)
	f.now.LoadOn, f.now.Switch = nil, 0
	f.live.Frac, f.live.Word = 0, "moving"
	f.mark(e.Station, false)
	f.progress(e.Progress)
	if f.now.What != "walk" {
		f.now.Words, f.now.Drawing = words.Page.Say(swing.Held(e.Station.Name)), drawPose(e.Station.Name)
	}
	kind := "go"
	if e.Visit == logbook.VisitBase {
		kind = "base"
	}
	f.cue(cue{Kind: kind, Station: e.Station.Name, Text: f.now.Words})
}

func (f *face) captured(e guide.Event) {
	c := e.Capture
	f.now.LoadOn, f.live.Frac = nil, 0
	f.count(*c, baseOf(e), e.Difference)
	f.progress(e.Progress)
	text := f.conductor.Say("run.captured", c.Station, c.Number, r3.Norm(c.BUT), c.UncertaintyUT)
	if e.Difference != nil {
		text = f.conductor.Say("run.pulsed", c.Station, c.Number, r3.Norm(*e.Difference))
	}
	f.log("captured", text, c.Station)
}

// keptLog is how many lines of the log a page sees.
const keptLog = 12

// log keeps a line and sends it as a cue.
func (f *face) log(kind, text, station string) {
	f.now.Log = append(f.now.Log, logLine{kind, text})
	f.now.Log = f.now.Log[max(0, len(f.now.Log)-keptLog):]
	f.cue(cue{Kind: kind, Station: station, Text: text})
}

func (f *face) cue(c cue) {
	c.AtMS = f.conductor.Now().UnixMilli()
	f.conductor.Stream.Say(f.topic+"_cue", c)
}

// end shows how the work ended; a reason that the guide gave stands.
func (f *face) end(err error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.now.Phase = "done"
	if err != nil && !errors.Is(err, context.Canceled) {
		f.now.Phase, f.now.Why = "failed", err.Error()
		if errors.Is(err, walk.ErrDeclined) {
			f.now.Phase, f.now.Why = "done", f.conductor.Say("run.declined")
		}
		f.cue(cue{Kind: "failed", Text: f.now.Why})
	}
	f.publish()
}

// sample shows one reading. The stream lets only the newest one out.
func (f *face) sample(s survey.Sample) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.lastTS = s.TS
	l := f.live
	if l.Frac > 0 && f.dwellS > 0 { // between the guide's events
		l.Frac = min(1, l.Frac+(s.TS-f.fracTS)/f.dwellS)
	}
	v := f.header.Frame().Field(s.B)
	l.AtMS, l.BUT = f.conductor.Now().UnixMilli(), r3.Norm(v)
	if f.base != nil {
		d := r3.Sub(v, *f.base)
		l.FromBase, l.Departure = new(vec(d)), new(r3.Norm(d))
	}
	f.conductor.Stream.Show(f.topic+"_live", l)
}

// watchedTap shows the readings that the guide gets.
type watchedTap struct {
	*Tap
	face *face
}

// Next returns the next item of the tap.
func (t *watchedTap) Next(ctx context.Context) (link.Item, error) {
	item, err := t.Tap.Next(ctx)
	if err == nil && item.Kind == link.Reading {
		t.face.sample(item.Sample)
	}
	return item, err
}

func vec(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
