package conduct

import (
	"context"
	"errors"

	"quietmount/magmath/calib"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/calibrate"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/swing"
	"quietmount/survey/walk"
)

// Turn is a calibration to be guided: the probe, or the whole craft, is turned
// through all directions, the readings are fitted, and an accepted fit is stored.
type Turn struct {
	Craft   *survey.Craft
	Options calib.Options
	OnCraft bool            // the module is mounted and the whole craft is turned
	Turn    *calibrate.Turn // how long, and how much of the sphere is enough
	// Compare holds a calibration of the finished craft, just stored, against
	// the map.
	Compare func() (*swing.Comparison, error)
}

// turning is a Turn under way.
type turning struct {
	*Conductor
	Turn
	now   turnState
	shown float64 // seconds of the turn when it was shown last
}

// turnState is what the pages are shown of a turn, topic "calibrate".
type turnState struct {
	Phase    string      `json:"phase"` // "waiting", "turning", "lost", "fitting", "done", "failed"
	Why      string      `json:"why"`
	Covered  float64     `json:"sphere_covered"`
	Enough   float64     `json:"enough"`
	Seconds  float64     `json:"seconds"`
	ForS     float64     `json:"for_s"`
	Readings int         `json:"readings"`
	Cells    []int       `json:"cells"` // numbers of the covered cells
	Now      *[3]float64 `json:"now"`   // direction of the field in the sensor's axes
	Gap      *[3]float64 `json:"gap"`   // a direction that is still missing
	Hint     string      `json:"hint"`  // how to turn the probe to bring the field there

	Answer *answer.Calibrate `json:"answer"` // of "done"
}

// turnPace is how often a turn is shown, seconds.
const turnPace = 0.1

// Turn begins a calibration and returns at once; the topics calibrate and
// calibrate_said tell how it goes.
func (c *Conductor) Turn(t Turn) error {
	w := &turning{Conductor: c, Turn: t, now: turnState{Phase: "waiting", Enough: t.Turn.Enough, ForS: t.Turn.ForS, Cells: []int{}}}
	return c.start(w.run, w.end)
}

func (t *turning) run(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
	t.show()
	if err := t.take(ctx, tap, commands); err != nil {
		return err
	}
	t.now.Phase, t.now.Why = "fitting", ""
	t.show()
	return t.fit(ctx)
}

// end shows how it ended, when other work can begin.
func (t *turning) end(err error) {
	t.now.Phase = "done"
	if err != nil {
		t.now.Phase, t.now.Why = "failed", err.Error()
		if errors.Is(err, walk.ErrDeclined) || errors.Is(err, context.Canceled) {
			t.now.Why = t.Say("calibrate.stopped")
		}
	}
	said := t.now.Why
	if a := t.now.Answer; a != nil && a.Accepted {
		said = t.Say("calibrate.accepted", a.ID)
	} else if a != nil {
		said = t.Say("calibrate.refused")
	}
	t.show()
	t.Stream.Say("calibrate_said", map[string]string{"phase": t.now.Phase, "text": said})
}

// take reads until enough of the sphere is covered, the time is over, or the
// operator ends it; the stop command ends it with walk.ErrDeclined.
func (t *turning) take(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
	if err := t.awaitReading(ctx, tap, commands); err != nil {
		return err
	}
	turning, cancel := context.WithCancel(ctx)
	defer cancel()
	end := make(chan guide.CommandKind, 1)
	go func() {
		for {
			select {
			case <-turning.Done():
				return
			case c := <-commands:
				if c.Kind == guide.CmdCapture || c.Kind == guide.CmdStop {
					end <- c.Kind
					cancel()
					return
				}
			}
		}
	}()
	t.now.Phase = "turning"
	err := t.Turn.Turn.Take(turning, tap, nil, t.face)
	select {
	case kind := <-end:
		if kind == guide.CmdStop {
			return walk.ErrDeclined
		}
		return nil
	default:
		return err
	}
}

// face shows an item of the link that the turn takes.
func (t *turning) face(item link.Item) {
	switch item.Kind {
	case link.Reading:
		if s := t.Turn.Turn.Seconds(); s-t.shown >= turnPace || s < t.shown {
			t.shown = s
			t.look()
			t.show()
		}
	case link.Lost:
		t.now.Phase, t.now.Why = "lost", words.Page.Say(item.Says)
		t.show()
	case link.Back:
		t.now.Phase, t.now.Why = "turning", ""
		t.show()
	}
}

// look takes over how much of the sphere is covered so far.
func (t *turning) look() {
	p := &t.Turn.Turn.Progress
	t.now.Covered, t.now.Seconds, t.now.Readings = p.Covered(), t.Turn.Turn.Seconds(), len(t.Turn.Turn.Samples)
	seen := p.Coverage()
	t.now.Cells = t.now.Cells[:0]
	for i := range calib.Cells {
		if seen.Seen(i) {
			t.now.Cells = append(t.now.Cells, i)
		}
	}
	t.now.Now, t.now.Gap, t.now.Hint = nil, nil, ""
	if u, ok := p.Now(); ok {
		t.now.Now = new(vec(u))
	}
	if h, ok := p.Hint(); ok {
		t.now.Gap, t.now.Hint = new(vec(h.Direction)), words.Page.Say(h.Remark())
	}
}

// fit fits the readings and stores an accepted fit.
func (t *turning) fit(ctx context.Context) error {
	t.look()
	samples := t.Turn.Turn.Samples
	r, err := calibrate.Fit(ctx, samples, t.Turn.Options)
	if err != nil {
		return err
	}
	source := t.Probe.State().Port
	in := answer.CalibrateInput{Face: words.Page, Result: r, ReferenceUT: t.Turn.Options.ReferenceUT, Source: source}
	if in.Result.Accepted {
		taken := calibrate.Taken{
			Result: r, Samples: samples, ReferenceUT: in.ReferenceUT, OnCraft: t.OnCraft, Source: source, Tool: t.Tool, Words: words.Terminal.Say,
		}
		stored, file, err := taken.Store(t.Dir, t.Craft, t.Now())
		if err != nil {
			return err
		}
		in.ID, in.File = stored.ID, file
	}
	if t.OnCraft && in.Result.Accepted {
		in.OnCraft = true
		if c, err := t.Compare(); err == nil {
			in.Promise, in.Kept = &c.Promise, c.Kept
		} else { // the calibration is good either way
			t.now.Why = t.Say("calibrate.not_compared", err)
			if _, early := errors.AsType[*swing.NotComparedError](err); early {
				t.now.Why = t.Say("calibrate.no_promise")
			}
		}
	}
	t.now.Answer = new(answer.NewCalibrate(in))
	return nil
}

func (t *turning) show() { t.Stream.Show("calibrate", t.now) }
