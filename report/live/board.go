package live

import (
	"context"
	"errors"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/walk"
)

// WalkState is what the pages are shown of a run, topic "walk". It is whole each
// time, so that a page that comes late needs nothing else.
type WalkState struct {
	Phase     string `json:"phase"` // "waiting", "checklist", "walking", "held", "lost", "done", "failed"
	Why       string `json:"why"`   // of "lost", "held", "done" and "failed", for people
	Finished  bool   `json:"finished"`
	Run       int    `json:"run"`
	State     string `json:"state"`
	Pulsed    bool   `json:"pulsed"`
	HandsFree bool   `json:"hands_free"`
	File      string `json:"file"`

	Checklist []string `json:"checklist"`
	Confirmed int      `json:"confirmed"` // of its items

	Station string     `json:"station"`
	Visit   string     `json:"visit"`
	At      [3]float64 `json:"at_mm"`
	LoadOn  *bool      `json:"load_on"` // what the operator was told last; null outside of a pulsed dwell
	Switch  int        `json:"switch"`  // prompts so far in this dwell, the first says off
	Rhythm  *Rhythm    `json:"rhythm"`  // of a pulsed run
	Base    string     `json:"base"`    // name of the base station; empty: none

	Done         int     `json:"visits_done"`
	Total        int     `json:"visits_planned"`
	LeftS        float64 `json:"left_s"`
	BaseReturnIn int     `json:"base_return_in"`

	Marks   []Mark    `json:"marks"`
	Skipped []string  `json:"skipped"`
	Log     []LogLine `json:"log"` // the newest last
}

// Rhythm is the rhythm of a pulsed dwell.
type Rhythm struct {
	Pulses int     `json:"pulses"`
	OnS    float64 `json:"on_s"`
	OffS   float64 `json:"off_s"`
}

// Mark is a station as far as this run has come.
type Mark struct {
	Name     string     `json:"name"`
	At       [3]float64 `json:"at_mm"`
	Captures int        `json:"captures"` // that count
	ValueUT  *float64   `json:"value_ut"` // departure from base; of a pulsed run, what the load makes
	SDUT     *float64   `json:"standard_uncertainty_ut"`
	Skipped  bool       `json:"skipped"`
}

// LogLine is something that happened.
type LogLine struct {
	Kind string `json:"kind"` // of the event: captured, rejected, warning, ...
	Text string `json:"text"`
}

// Live is the probe as the walk sees it, topic "walk_live".
type Live struct {
	AtMS      int64       `json:"at_ms"` // of the clock, when the reading came
	Word      string      `json:"word"`  // "moving", "rest", "hold"
	Frac      float64     `json:"frac"`  // of the dwell
	BUT       float64     `json:"b_ut"`
	FromBase  *[3]float64 `json:"from_base_ut"` // craft frame; null before the first base reading
	Departure *float64    `json:"departure_ut"` // its length
}

// Cue is an event to be heard, topic "walk_cue".
type Cue struct {
	AtMS    int64  `json:"at_ms"` // of the clock: an old cue that is replayed makes no sound
	Kind    string `json:"kind"`  // captured, rejected, base, go, load, warning, lost, back, done
	Station string `json:"station"`
	On      bool   `json:"on"`
	Text    string `json:"text"`
}

// board turns the events of one run into what the pages show.
type board struct {
	bench *Bench
	setup walk.Setup

	mu     sync.Mutex
	now    WalkState
	live   Live
	header survey.Header
	base   *r3.Vec // the field at the last base return
	dwellS float64 // how long a dwell takes
	fracTS float64 // when live.Frac was said, on the samples' clock
	lastTS float64 // of the newest reading
	order  map[string]int
	held   bool // the operator pauses
}

func newBoard(b *Bench, s walk.Setup) *board {
	n := &board{bench: b, setup: s, order: map[string]int{}}
	n.now = WalkState{
		Phase: "waiting", State: s.State, Pulsed: s.Pulsed, HandsFree: s.HandsFree,
		Checklist: append([]string{}, s.Checklist()...), Marks: []Mark{}, Skipped: []string{}, Log: []LogLine{},
	}
	return n
}

// open shows that a run is being begun.
func (b *board) open() {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.publish()
}

func (b *board) publish() { b.bench.stream.Show("walk", b.now) }

// begun takes over what the run is, and what it has already.
func (b *board) begun(r *walk.Begun) {
	b.mu.Lock()
	defer b.mu.Unlock()
	h := r.Writer.Header()
	b.header = h
	b.now.Run, b.now.File, b.now.Pulsed = h.Run, r.About.File, h.Pulsed
	b.now.Confirmed = len(b.now.Checklist)
	b.dwellS = b.setup.Rules.DwellS
	if r.Route.Base != nil {
		b.now.Base = r.Route.Base.Name
	}
	if h.Pulsed {
		rhythm := r.Route.Rhythm
		b.now.Rhythm = &Rhythm{rhythm.Pulses, rhythm.OnS, rhythm.OffS}
		b.dwellS = rhythm.OffS + float64(rhythm.Pulses)*(rhythm.OnS+rhythm.OffS)
	}
	for _, v := range r.Route.Visits {
		b.mark(v.Station)
	}
	if b.setup.Resume {
		b.takeUp(h.Run)
	}
	for _, text := range r.Remarks {
		b.log("warning", text, "")
	}
	b.publish()
}

// takeUp marks the captures that a resumed run has already.
func (b *board) takeUp(run int) {
	for _, r := range b.setup.Folder.Runs {
		if r.Header.Run != run {
			continue
		}
		var base *r3.Vec
		for _, c := range r.Valid() {
			if c.Visit == survey.VisitBase {
				base = &c.BUT
			}
			b.count(c, base, nil)
		}
	}
}

// mark is the place in now.Marks of a station, which is put there if need be.
func (b *board) mark(s survey.Station) int {
	i, ok := b.order[s.Name]
	if !ok {
		i = len(b.now.Marks)
		b.order[s.Name] = i
		b.now.Marks = append(b.now.Marks, Mark{Name: s.Name, At: vec(s.At)})
	}
	return i
}

// count adds a capture to its station. difference is that of a pulsed one.
func (b *board) count(c survey.Capture, base, difference *r3.Vec) {
	m := &b.now.Marks[b.mark(survey.Station{Name: c.Station, At: c.At})]
	m.Captures++
	m.Skipped = false
	m.SDUT = new(c.UncertaintyUT)
	switch {
	case difference != nil:
		m.ValueUT = new(r3.Norm(*difference))
	case base != nil && !b.now.Pulsed:
		m.ValueUT = new(r3.Norm(r3.Sub(c.BUT, *base)))
	}
}

// face shows an event; it is what walk.Run calls, after a capture is on the
// disk.
func (b *board) face(e guide.Event) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if e.Kind == guide.Moving || e.Kind == guide.Resting {
		b.reading(e)
		return nil
	}
	b.take(e)
	b.publish()
	return nil
}

// reading takes what the guide says of the probe now and then.
func (b *board) reading(e guide.Event) {
	b.live.Word = "moving"
	if e.Kind == guide.Resting {
		b.live.Word = "rest"
	}
	if e.Progress.DwellFrac > 0 {
		b.live.Word = "hold"
	}
	b.live.Frac, b.fracTS = e.Progress.DwellFrac, b.lastTS
	if e.FromBase != nil {
		b.base = new(r3.Sub(e.B, *e.FromBase))
	} else {
		b.base = nil
	}
	b.progress(e.Progress)
}

func (b *board) progress(p guide.Progress) {
	if p.Total == 0 {
		return
	}
	b.now.Done, b.now.Total, b.now.LeftS, b.now.BaseReturnIn = p.Done, p.Total, p.SecondsLeft, p.BaseReturnIn
}

// take turns an event into state, a line of the log, and a cue to be heard.
func (b *board) take(e guide.Event) {
	say := b.bench.Words
	switch e.Kind {
	case guide.Checklist:
		b.now.Phase, b.now.Confirmed = "checklist", len(b.now.Checklist)-len(e.Items)
	case guide.Ready:
		b.now.Phase = "walking"
		b.progress(e.Progress)
	case guide.Go:
		b.announce(e)
	case guide.Switch:
		b.now.LoadOn = new(e.On)
		b.now.Switch++
		b.cue(Cue{Kind: "load", Station: e.Station.Name, On: e.On})
	case guide.Captured:
		b.captured(e)
	case guide.Rejected:
		b.now.LoadOn, b.live.Frac = nil, 0
		b.log("rejected", say("walk.log_rejected", e.Station.Name, e.Why), e.Station.Name)
	case guide.Skipped:
		m := &b.now.Marks[b.mark(e.Station)]
		m.Skipped = m.Captures == 0
		b.log("skipped", say("walk.log_skipped", e.Station.Name), e.Station.Name)
	case guide.Voided:
		b.voided(e)
	case guide.Noted:
		b.log("noted", say("walk.log_noted", e.Why), e.Station.Name)
	case guide.Warning:
		b.log("warning", e.Why, e.Station.Name)
	case guide.Paused:
		b.pause(e)
	case guide.Resumed:
		b.goOn(e)
	case guide.Done:
		// The phase is done when the file is closed and the probe free: see end.
		b.now.Why, b.now.Finished, b.now.LoadOn = b.bench.endWords(e), e.Code == guide.CodeFinished, nil
		b.log("done", b.now.Why, "")
	}
}

// endWords say how guided work ended, with what a page offers to go on with.
func (b *Bench) endWords(e guide.Event) string {
	if e.Code == guide.CodeStopped {
		return b.Words("walk.stopped_why")
	}
	return e.Why
}

// pause shows that nothing is captured: the link is gone, or the operator wants
// it so.
func (b *board) pause(e guide.Event) {
	b.now.LoadOn, b.live.Frac = nil, 0
	if e.Code == guide.CodeHeld {
		b.held = true
		b.now.Phase, b.now.Why = "held", e.Why
		b.log("held", e.Why, "")
		return
	}
	b.now.Phase, b.now.Why = "lost", e.Why
	b.log("lost", e.Why, "")
}

// goOn ends the one or the other; a walk that the operator paused stays paused
// when the link comes back.
func (b *board) goOn(e guide.Event) {
	if e.Code == guide.CodeGoesOn {
		b.held = false
	}
	b.now.Phase, b.now.Why = "walking", ""
	if b.held {
		b.now.Phase = "held"
	}
	b.log("back", e.Why, "")
}

// announce names the next station.
func (b *board) announce(e guide.Event) {
	b.held = false
	b.now.Phase, b.now.Why = "walking", ""
	b.now.Station, b.now.Visit, b.now.At = e.Station.Name, string(e.Visit), vec(e.Station.At)
	b.now.LoadOn, b.now.Switch = nil, 0
	b.live.Frac, b.live.Word = 0, "moving"
	b.mark(e.Station)
	b.progress(e.Progress)
	kind := "go"
	if e.Visit == survey.VisitBase {
		kind = "base"
	}
	b.cue(Cue{Kind: kind, Station: e.Station.Name})
}

func (b *board) captured(e guide.Event) {
	c := e.Capture
	b.now.LoadOn, b.live.Frac = nil, 0
	b.count(*c, baseFor(e), e.Difference)
	b.progress(e.Progress)
	text := b.bench.Words("walk.log_captured", c.Station, c.Number, r3.Norm(c.BUT), c.UncertaintyUT)
	if e.Difference != nil {
		text = b.bench.Words("walk.log_pulsed", c.Station, c.Number, r3.Norm(*e.Difference))
	}
	b.log("captured", text, c.Station)
}

// baseFor is the field at the base that the event's departure was taken from.
func baseFor(e guide.Event) *r3.Vec {
	if e.FromBase == nil {
		return nil
	}
	return new(r3.Sub(e.B, *e.FromBase))
}

func (b *board) voided(e guide.Event) {
	m := &b.now.Marks[b.mark(e.Station)]
	if m.Captures = max(0, m.Captures-1); m.Captures == 0 {
		m.ValueUT, m.SDUT = nil, nil
	}
	b.log("voided", b.bench.Words("walk.log_voided", e.Capture.Number, e.Station.Name), e.Station.Name)
}

// keptLog is how many lines of the log a page sees.
const keptLog = 12

// log keeps a line and sends it as a cue.
func (b *board) log(kind, text, station string) {
	b.now.Log = append(b.now.Log, LogLine{kind, text})
	b.now.Log = b.now.Log[max(0, len(b.now.Log)-keptLog):]
	b.cue(Cue{Kind: kind, Station: station, Text: text})
}

func (b *board) cue(c Cue) {
	c.AtMS = b.bench.Now().UnixMilli()
	b.bench.stream.Say("walk_cue", c)
}

// end says how the run ended, if it did not say so itself.
func (b *board) end(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch {
	case err == nil || errors.Is(err, context.Canceled):
		b.now.Phase = "done"
	case errors.Is(err, walk.ErrDeclined):
		b.now.Phase, b.now.Why = "done", b.bench.Words("walk.declined")
	default:
		b.now.Phase, b.now.Why = "failed", err.Error()
	}
	b.publish()
}

// sample shows one reading: each of them, since the stream lets only the newest
// out.
func (b *board) sample(s survey.Sample) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.lastTS = s.TS
	l := b.live
	if l.Frac > 0 && b.dwellS > 0 { // the guide says it only now and then
		l.Frac = min(1, l.Frac+(s.TS-b.fracTS)/b.dwellS)
	}
	v := b.header.ToCraft(s.B)
	l.AtMS, l.BUT = b.bench.Now().UnixMilli(), r3.Norm(v)
	if b.base != nil {
		d := r3.Sub(v, *b.base)
		l.FromBase, l.Departure = new(vec(d)), new(r3.Norm(d))
	}
	b.bench.stream.Show("walk_live", l)
}

// watchedTap shows the readings that go by.
type watchedTap struct {
	*Tap
	board *board
}

// Next is the next item of the tap.
func (t *watchedTap) Next(ctx context.Context) (link.Item, error) {
	item, err := t.Tap.Next(ctx)
	if err == nil && item.Kind == link.Reading {
		t.board.sample(item.Sample)
	}
	return item, err
}

func vec(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }
