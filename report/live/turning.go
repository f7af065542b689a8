package live

import (
	"context"
	"errors"

	"quietmount/magmath/calib"
	"quietmount/report/answer"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/swing"
	"quietmount/survey/turn"
	"quietmount/survey/walk"
)

// turning is a calibration under way: the turn of the terminal's calibrate with
// the pages for its face.
type turning struct {
	bench   *Bench
	craft   *survey.Craft
	options calib.Options
	onCraft bool // the module is mounted and the whole craft is turned
	turn    *turn.Turn
	now     TurnState
	shown   float64 // seconds of the turn when it was shown last
}

// TurnState is what the pages are shown of a turn, topic "calibrate".
type TurnState struct {
	Phase    string      `json:"phase"` // "waiting", "turning", "lost", "fitting", "done", "failed"
	Why      string      `json:"why"`
	Covered  float64     `json:"sphere_covered"`
	Enough   float64     `json:"enough"`
	Seconds  float64     `json:"seconds"`
	ForS     float64     `json:"for_s"`
	Readings int         `json:"readings"`
	Cells    []int       `json:"cells"` // numbers of those that were shown
	Now      *[3]float64 `json:"now"`   // direction of the field in the sensor
	Gap      *[3]float64 `json:"gap"`   // where it is wanted
	Hint     string      `json:"hint"`  // how to turn to bring it there

	Answer *answer.Calibrate `json:"answer"` // of "done"
}

// turnPace is how often a turn is shown, seconds.
const turnPace = 0.1

// begin takes the readings, fits, and stores what is accepted. It answers at
// once.
func (t *turning) begin() error {
	var err error
	return t.bench.walker.startThen(func(ctx context.Context, tap *Tap, commands <-chan guide.Command) {
		t.now = TurnState{Phase: "waiting", Enough: t.turn.Enough, ForS: t.turn.ForS, Cells: []int{}}
		t.show()
		err = t.run(ctx, tap, commands)
	}, func() { t.end(err) })
}

// errTurnStopped says that the operator kept nothing.
var errTurnStopped = errors.New("the turn was stopped")

func (t *turning) run(ctx context.Context, tap *Tap, commands <-chan guide.Command) error {
	kept, err := t.take(ctx, tap, commands)
	switch {
	case err != nil:
		return err
	case !kept:
		return errTurnStopped
	}
	t.now.Phase, t.now.Why = "fitting", ""
	t.show()
	return t.fit(ctx)
}

// end says how it ended, when something else can begin.
func (t *turning) end(err error) {
	t.now.Phase = "done"
	switch {
	case errors.Is(err, errTurnStopped) || errors.Is(err, context.Canceled):
		t.now.Phase, t.now.Why = "failed", t.bench.Words("calibrate.stopped")
	case err != nil:
		t.now.Phase, t.now.Why = "failed", err.Error()
	}
	t.show()
	t.bench.stream.Say("calibrate_said", map[string]string{"phase": t.now.Phase, "text": t.said()})
}

// take turns until it is enough; kept is false where the operator broke it off.
func (t *turning) take(ctx context.Context, tap *Tap, commands <-chan guide.Command) (kept bool, err error) {
	if err := t.bench.awaitReading(ctx, tap, commands); err != nil {
		if errors.Is(err, walk.ErrDeclined) {
			return false, nil
		}
		return false, err
	}
	turning, cancel := context.WithCancel(ctx)
	defer cancel()
	end := make(chan guide.Command, 1)
	go func() {
		for {
			select {
			case <-turning.Done():
				return
			case c := <-commands:
				if c.Kind == guide.CmdCapture || c.Kind == guide.CmdStop {
					end <- c
					cancel()
					return
				}
			}
		}
	}()
	t.now.Phase = "turning"
	err = t.turn.Take(turning, tap, nil, t.face)
	select {
	case c := <-end:
		return c.Kind == guide.CmdCapture, nil
	default:
	}
	return err == nil, err
}

// face shows how the turn goes on.
func (t *turning) face(item link.Item) {
	switch item.Kind {
	case link.Reading:
		if s := t.turn.Seconds(); s-t.shown >= turnPace || s < t.shown {
			t.shown = s
			t.look()
			t.show()
		}
	case link.Lost:
		t.now.Phase, t.now.Why = "lost", item.Text
		t.show()
	case link.Back:
		t.now.Phase, t.now.Why = "turning", ""
		t.show()
	}
}

// look takes over what was shown of the sphere so far.
func (t *turning) look() {
	p := &t.turn.Progress
	t.now.Covered, t.now.Seconds, t.now.Readings = p.Covered(), t.turn.Seconds(), len(t.turn.Samples)
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
		t.now.Gap, t.now.Hint = new(vec(h.Direction)), h.Words
	}
}

// fit calibrates, and stores what is accepted.
func (t *turning) fit(ctx context.Context) error {
	t.look()
	samples := t.turn.Samples
	r, err := survey.Calibrate(ctx, samples, t.options)
	if err != nil {
		return err
	}
	source := t.bench.probe.State().Port
	in := answer.CalibrateInput{Result: r, ReferenceUT: t.options.ReferenceUT, Source: source}
	if in.Result.Accepted {
		store := turn.Store
		if t.onCraft {
			store = turn.StoreOnCraft
		}
		stored, file, err := store(t.bench.Dir(), t.craft, in.Result, samples, t.options.ReferenceUT, source, t.bench.Tool(), t.bench.Now())
		if err != nil {
			return err
		}
		in.ID, in.File = stored.ID, file
	}
	if t.onCraft && in.Result.Accepted {
		in.OnCraft = true
		t.now.Why = t.compare(&in)
	}
	t.now.Answer = new(answer.NewCalibrate(in))
	return nil
}

// compare holds what was just stored against the promise of the map; else it
// says why that cannot be done. The calibration is good either way.
func (t *turning) compare(in *answer.CalibrateInput) (why string) {
	got, err := t.bench.Once("compare", func() (any, error) {
		c, err := t.bench.found()
		if err != nil {
			return nil, err
		}
		choice, err := survey.Chosen(t.bench.Dir())
		if err != nil {
			return nil, err
		}
		return swing.Compare(t.bench.Dir(), t.craft.Module.Name, c.found, choice)
	})
	if missing, ok := errors.AsType[*swing.NotComparedError](err); ok {
		return t.bench.Words("calibrate.not_compared", missing.Why)
	}
	if err != nil {
		return t.bench.Words("calibrate.not_compared", err)
	}
	c := got.(*swing.Comparison)
	in.Promise, in.Kept = &c.Promise, c.Kept
	return ""
}

// said is the end of a turn in a sentence.
func (t *turning) said() string {
	switch {
	case t.now.Answer == nil:
		return t.now.Why
	case t.now.Answer.Accepted:
		return t.bench.Words("calibrate.accepted", t.now.Answer.ID)
	}
	return t.bench.Words("calibrate.refused")
}

func (t *turning) show() { t.bench.stream.Show("calibrate", t.now) }

// guidedCommand passes a command on to the guided work under way.
func guidedCommand(a Ask, kind guide.CommandKind, none string) (any, error) {
	err := a.walker.command(a.Ctx, guide.Command{Kind: kind})
	if errors.Is(err, errNoWalk) {
		return nil, errors.New(a.Words(none))
	}
	if err != nil {
		return nil, err
	}
	return Done{}, nil
}
