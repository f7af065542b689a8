package live

import (
	"context"
	"errors"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// posing is an arrow check or a swing under way: those of the terminal with the
// pages for their face.
type posing struct {
	bench *Bench
	setup swing.Setup

	mu  sync.Mutex
	now PoseState
}

// PoseState is what the pages are shown of an arrow check or a swing, topic
// "pose". It is whole each time.
type PoseState struct {
	What      string       `json:"what"`  // "arrow" or "swing"
	Phase     string       `json:"phase"` // "waiting", "checklist", "posing", "held", "lost", "done", "failed"
	Why       string       `json:"why"`
	Finished  bool         `json:"finished"`
	HandsFree bool         `json:"hands_free"`
	Items     []string     `json:"items"`   // of the checklist, still to be confirmed
	Stop      string       `json:"stop"`    // name of the pose or the mark
	Words     string       `json:"words"`   // how to lay the craft
	Drawing   *PoseDrawing `json:"drawing"` // of that
	Again     bool         `json:"again"`   // the stop is taken once more
	Done      int          `json:"visits_done"`
	Total     int          `json:"visits_planned"`
	Stops     []PoseStop   `json:"stops"` // in order
	Log       []LogLine    `json:"log"`   // the newest last
}

// PoseStop is one pose or mark and whether it was taken.
type PoseStop struct {
	Name  string `json:"name"`
	Taken bool   `json:"taken"`
}

// PoseLive is the probe as the check sees it, topic "pose_live".
type PoseLive struct {
	Word string  `json:"word"` // "moving", "rest", "hold"
	Frac float64 `json:"frac"` // of the dwell
	BUT  float64 `json:"b_ut"`
}

// newPosing readies a check. early is the one that is taken up again, nil for a
// new one.
func newPosing(b *Bench, s swing.Setup, early *survey.SwingFile) *posing {
	p := &posing{bench: b, setup: s}
	p.now = PoseState{What: s.Header.What, Phase: "waiting", HandsFree: s.HandsFree, Items: []string{}, Stops: []PoseStop{}, Log: []LogLine{}}
	if early == nil {
		for _, v := range s.Route.Visits {
			p.now.Stops = append(p.now.Stops, PoseStop{Name: v.Station.Name})
		}
		return p
	}
	for _, name := range early.Header.Stations {
		p.now.Stops = append(p.now.Stops, PoseStop{Name: name})
	}
	for _, c := range early.Valid() {
		p.mark(c.Station, true)
	}
	return p
}

// begin walks through the poses or headings and stores the captures. It answers
// at once.
func (p *posing) begin() error {
	var err error
	return p.bench.walker.startThen(func(ctx context.Context, tap *Tap, commands <-chan guide.Command) {
		p.show()
		err = p.run(ctx, tap, commands)
	}, func() { p.end(err) })
}

// end says how it ended, when something else can begin.
func (p *posing) end(err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.now.Phase = "done"
	switch {
	case errors.Is(err, walk.ErrDeclined):
		p.now.Phase, p.now.Why = "failed", p.bench.Words("pose.declined")
	case err != nil && !errors.Is(err, context.Canceled):
		p.now.Phase, p.now.Why = "failed", err.Error()
	}
	p.show()
	p.bench.stream.Say("pose_said", LogLine{p.now.Phase, p.now.Why})
}

func (p *posing) run(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
	if err := p.bench.awaitReading(ctx, tap, commands); err != nil {
		return err
	}
	s := p.setup
	if err := walk.Confirm(ctx, s.Checklist(), commands, p.face); err != nil {
		return err
	}
	s.Confirmed = true
	s.Port, s.Decoder, s.Tool, s.Now = p.bench.probe.State().Port, p.bench.probe.Shape(), p.bench.Tool(), p.bench.Now()
	begun, err := swing.Begin(s)
	if err != nil {
		return err
	}
	_, err = walk.Run(ctx, walk.Config{
		Source: tap, Commands: commands, Walk: begun.Walk, Writer: begun.Writer, Face: p.face, Now: p.bench.Now,
	})
	return errors.Join(err, begun.Writer.Close())
}

// face shows an event; it is what walk.Run calls, after a capture is on the
// disk.
func (p *posing) face(e guide.Event) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if e.Kind == guide.Moving || e.Kind == guide.Resting {
		p.reading(e)
		return nil
	}
	p.take(e)
	p.show()
	return nil
}

// reading says how the probe rests, some ten times a second.
func (p *posing) reading(e guide.Event) {
	live := PoseLive{Word: "moving", Frac: e.Progress.DwellFrac, BUT: r3.Norm(e.B)}
	if e.Kind == guide.Resting {
		live.Word = "rest"
	}
	if live.Frac > 0 {
		live.Word = "hold"
	}
	p.bench.stream.Show("pose_live", live)
}

// take turns an event into state and a line of the log.
func (p *posing) take(e guide.Event) {
	say := p.bench.Words
	switch e.Kind {
	case guide.Checklist:
		p.now.Phase, p.now.Items = "checklist", slices.Clone(e.Items)
	case guide.Ready:
		p.now.Phase = "posing"
	case guide.Go:
		p.announce(e)
	case guide.Captured:
		p.mark(e.Station.Name, true)
		p.progress(e.Progress)
		p.log("captured", say("pose.log_captured", e.Station.Name, e.Capture.UncertaintyUT))
	case guide.Rejected:
		p.log("rejected", say("pose.log_rejected", e.Station.Name, e.Why))
	case guide.Skipped:
		p.log("skipped", say("pose.log_skipped", e.Station.Name))
	case guide.Voided:
		p.mark(e.Station.Name, false)
		p.log("voided", say("pose.log_voided", e.Station.Name))
	case guide.Warning:
		p.log("warning", e.Why)
	case guide.Paused:
		p.now.Phase, p.now.Why = "lost", e.Why
		if e.Code == guide.CodeHeld {
			p.now.Phase = "held"
		}
		p.log(p.now.Phase, e.Why)
	case guide.Resumed:
		p.now.Phase, p.now.Why = "posing", ""
		p.log("back", e.Why)
	case guide.Done:
		p.now.Why, p.now.Finished = p.bench.endWords(e), e.Code == guide.CodeFinished
	}
}

// announce names the next stop.
func (p *posing) announce(e guide.Event) {
	p.now.Phase, p.now.Why = "posing", ""
	p.now.Stop, p.now.Words, p.now.Drawing = e.Station.Name, swing.Words(e.Station.Name), drawPose(e.Station.Name)
	p.now.Again = e.Visit != survey.VisitStation
	p.progress(e.Progress)
	p.bench.stream.Show("pose_live", PoseLive{Word: "moving"})
	p.bench.stream.Say("pose_said", LogLine{"go", p.now.Words})
}

func (p *posing) progress(g guide.Progress) {
	if g.Total > 0 {
		p.now.Done, p.now.Total = g.Done, g.Total
	}
}

// mark ticks the first stop of that name that is not as it should be: mark 000
// comes twice in a swing.
func (p *posing) mark(name string, taken bool) {
	for i := range p.now.Stops {
		k := i
		if !taken { // the last one was voided
			k = len(p.now.Stops) - 1 - i
		}
		if s := &p.now.Stops[k]; s.Name == name && s.Taken != taken {
			s.Taken = taken
			return
		}
	}
}

func (p *posing) log(kind, text string) {
	p.now.Log = append(p.now.Log, LogLine{kind, text})
	p.now.Log = p.now.Log[max(0, len(p.now.Log)-keptLog):]
	p.bench.stream.Say("pose_said", LogLine{kind, text})
}

func (p *posing) show() { p.bench.stream.Show("pose", p.now) }
