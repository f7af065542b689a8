package walk

import (
	"context"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
)

// The craft and field here are invented.

func hull() *survey.Craft {
	axes := magmath.Identity()
	return &survey.Craft{
		Name:   "invented hull",
		Module: survey.Module{Name: "puck", RangeUT: 800, Axes: &axes},
		Body:   survey.Body{OutlineMM: []r2.Vec{{X: 65, Y: 35}, {X: -65, Y: 35}, {X: -65, Y: -35}, {X: 65, Y: -35}}},
		Grid:   &survey.Grid{SpacingMM: 60},
		Base:   &survey.Station{Name: "T", At: r3.Vec{X: 700}},
		Loads:  []survey.Load{{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 18}},
	}
}

// bench is a probe that is carried where the walk asks: a link.Source and the
// operator's hand.
type bench struct {
	mu     sync.Mutex
	rng    *rand.Rand
	ts     float64
	at     r3.Vec
	until  float64 // the probe wobbles until then
	on     bool
	script []link.Item // given first
	limit  float64     // the stream ends then
}

func newBench() *bench { return &bench{rng: rand.New(rand.NewPCG(1, 2)), limit: 3000} }

func (b *bench) carry(e guide.Event) {
	b.mu.Lock()
	defer b.mu.Unlock()
	switch e.Kind {
	case guide.Go:
		b.at, b.until = e.Station.At, b.ts+1.5
	case guide.Switch:
		b.on = e.On
	}
}

func (b *bench) Close() error { return nil }

// steppedBench is read step by step.
type steppedBench struct{ *bench }

func (steppedBench) Stepped() bool { return true }

func (b *bench) Next(ctx context.Context) (link.Item, error) {
	if err := ctx.Err(); err != nil {
		return link.Item{}, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.ts > b.limit {
		return link.Item{}, io.EOF
	}
	b.ts += 0.04
	if len(b.script) > 0 && b.script[0].TS <= b.ts {
		it := b.script[0]
		b.script = b.script[1:]
		return it, nil
	}
	f := r3.Vec{X: 17 + b.at.X/30, Y: -8 + b.at.Y/40, Z: 46}
	if b.on {
		f.X += 4
	}
	if b.ts < b.until {
		f = r3.Add(f, r3.Vec{X: 15 * math.Sin(9*b.ts), Y: 12 * math.Cos(7*b.ts)})
	}
	n := func() float64 { return 0.2 * b.rng.NormFloat64() }
	return link.Item{Kind: link.Reading, TS: b.ts, Sample: survey.Sample{TS: b.ts, B: r3.Add(f, r3.Vec{X: n(), Y: n(), Z: n()})}}, nil
}

// book is a logbook in memory that can fail.
type book struct {
	captures []logbook.Capture
	voids    []int
	notes    []logbook.Note
	fail     func() error
}

func (b *book) err() error {
	if b.fail == nil {
		return nil
	}
	return b.fail()
}

func (b *book) Append(c logbook.Capture) error {
	if err := b.err(); err != nil {
		return err
	}
	b.captures = append(b.captures, c)
	return nil
}

func (b *book) Void(n int, why string, now time.Time) error {
	if err := b.err(); err != nil {
		return err
	}
	b.voids = append(b.voids, n)
	return nil
}

func (b *book) Note(n logbook.Note) error {
	if err := b.err(); err != nil {
		return err
	}
	b.notes = append(b.notes, n)
	return nil
}

func (b *book) noted(k logbook.NoteKind) []string {
	var out []string
	for _, n := range b.notes {
		if n.Kind == k {
			out = append(out, n.Text)
		}
	}
	return out
}

// codes stores the code of a remark where the program stores its words.
func codes(r remark.Remark) string { return r.Code }

func clock() time.Time { return time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC) }

// set puts a walk together; the face also moves the probe and, unless hands
// are free, asks for the capture.
func set(t *testing.T, gc guide.Config, b *bench, bk *book, face func(guide.Event) error) (Config, chan guide.Command) {
	t.Helper()
	gc.Craft = hull()
	if gc.State == "" {
		gc.State = survey.StateUnpowered
	}
	gc.SkipChecklist = true
	gc.Axes = gc.Craft.Module.Axes
	w, err := guide.New(gc)
	if err != nil {
		t.Fatal(err)
	}
	commands := make(chan guide.Command, 64)
	return Config{
		Source: b, Commands: commands, Walk: w, Writer: bk, Now: clock, Words: codes,
		Face: func(e guide.Event) error {
			b.carry(e)
			if e.Kind == guide.Go && !gc.HandsFree {
				commands <- guide.Command{Kind: guide.CmdCapture}
			}
			return face(e)
		},
	}, commands
}

func TestWholeRunIsSavedAndEnded(t *testing.T) {
	for _, handsFree := range []bool{false, true} {
		bk := &book{}
		saved := 0
		cfg, _ := set(t, guide.Config{HandsFree: handsFree}, newBench(), bk, func(e guide.Event) error {
			if e.Kind == guide.Captured {
				saved++
			}
			return nil
		})
		sum, err := Run(t.Context(), cfg)
		if err != nil || !sum.Finished || saved != len(bk.captures) || saved != sum.Captures || saved == 0 {
			t.Errorf("hands-free %v: %d acknowledged, %d on the disk, summary %+v, %v", handsFree, saved, len(bk.captures), sum, err)
		}
		if got := bk.noted(logbook.NoteEnd); len(got) != 1 || !strings.HasPrefix(got[0], guide.CodeFinished) {
			t.Errorf("hands-free %v: end notes %q", handsFree, got)
		}
	}
}

// TestAFailingDiskLosesNothing lets the disk refuse everything for a while:
// nothing is acknowledged that is not saved, and the walk goes on when the
// operator asks again.
func TestAFailingDiskLosesNothing(t *testing.T) {
	bk := &book{}
	full := 0
	bk.fail = func() error {
		if len(bk.captures) == 2 && full < 9 {
			full++
			return errors.New("no space left on device")
		}
		return nil
	}
	var commands chan guide.Command
	var cfg Config
	cfg, commands = set(t, guide.Config{}, newBench(), bk, func(e guide.Event) error {
		switch {
		case e.Kind == guide.Captured:
			if bk.captures[len(bk.captures)-1].Number != e.Capture.Number {
				t.Errorf("capture %d acknowledged, the last saved is %d", e.Capture.Number, bk.captures[len(bk.captures)-1].Number)
			}
		case e.Code() == guide.CodeStoreFailed:
			commands <- guide.Command{Kind: guide.CmdCapture}
		}
		return nil
	})
	sum, err := Run(t.Context(), cfg)
	if err != nil || !sum.Finished || full != 9 {
		t.Fatalf("%+v, %v after %d refusals", sum, err, full)
	}
	for i, c := range bk.captures {
		if c.Number != i+1 || len(c.Samples) == 0 || !c.Time.Equal(clock()) {
			t.Errorf("capture %d is %d of %d samples at %v", i+1, c.Number, len(c.Samples), c.Time)
		}
	}
	if got := bk.noted(logbook.NoteWarning); len(got) == 0 {
		t.Error("the failure was not noted once the disk took it")
	}
}

func TestAnUnsavedVoidIsSavedBeforeTheNextCapture(t *testing.T) {
	bk := &book{}
	broken := false
	bk.fail = func() error {
		if broken {
			return errors.New("no space left on device")
		}
		return nil
	}
	var commands chan guide.Command
	var cfg Config
	redone := false
	cfg, commands = set(t, guide.Config{}, newBench(), bk, func(e guide.Event) error {
		switch {
		case e.Kind == guide.Captured && e.Capture.Number == 2 && !redone:
			redone, broken = true, true
			for len(commands) > 0 {
				<-commands
			}
			commands <- guide.Command{Kind: guide.CmdRedo}
		case e.Code() == guide.CodeStoreFailed:
			if len(bk.voids) != 0 {
				t.Error("the void got through a broken disk")
			}
			broken = false
			commands <- guide.Command{Kind: guide.CmdCapture}
		}
		return nil
	})
	sum, err := Run(t.Context(), cfg)
	if err != nil || !sum.Finished {
		t.Fatalf("%+v, %v", sum, err)
	}
	if !slices.Equal(bk.voids, []int{2}) {
		t.Errorf("voids %v, want the second capture", bk.voids)
	}
}

func TestCancelStopsAndNotes(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	bk := &book{}
	done := 0
	cfg, _ := set(t, guide.Config{HandsFree: true}, newBench(), bk, func(e guide.Event) error {
		if e.Kind == guide.Captured {
			if done++; done == 3 {
				cancel()
			}
		}
		if e.Kind == guide.Done && e.Code() != guide.CodeStopped {
			t.Errorf("done says %q", e.Code())
		}
		return nil
	})
	sum, err := Run(ctx, cfg)
	if err != nil || sum.Finished || sum.Captures != len(bk.captures) {
		t.Errorf("%+v, %v; %d on the disk", sum, err, len(bk.captures))
	}
	if got := bk.noted(logbook.NoteEnd); len(got) != 1 || !strings.HasPrefix(got[0], guide.CodeStopped) {
		t.Errorf("end notes %q", got)
	}
}

func TestTheEndOfTheStreamStops(t *testing.T) {
	b := newBench()
	b.limit = 20
	bk := &book{}
	cfg, _ := set(t, guide.Config{HandsFree: true}, b, bk, func(guide.Event) error { return nil })
	sum, err := Run(t.Context(), cfg)
	if err != nil || sum.Finished || len(bk.noted(logbook.NoteEnd)) != 1 {
		t.Errorf("%+v, %v, end notes %q", sum, err, bk.noted(logbook.NoteEnd))
	}
}

// failing is a source that gives an error.
type failing struct{ err error }

func (f failing) Next(context.Context) (link.Item, error) { return link.Item{}, f.err }
func (failing) Close() error                              { return nil }

func TestErrorsOfSourceAndFace(t *testing.T) {
	bk := &book{}
	cfg, _ := set(t, guide.Config{HandsFree: true}, newBench(), bk, func(guide.Event) error { return nil })
	broken := errors.New("the port went up in smoke")
	cfg.Source = failing{broken}
	if _, err := Run(t.Context(), cfg); !errors.Is(err, broken) {
		t.Errorf("source error came back as %v", err)
	}
	if len(bk.noted(logbook.NoteEnd)) != 1 {
		t.Error("no end note after a source error")
	}
	pipe := errors.New("broken pipe")
	bk = &book{}
	cfg, _ = set(t, guide.Config{HandsFree: true}, newBench(), bk, func(e guide.Event) error {
		if e.Kind == guide.Captured {
			return pipe
		}
		return nil
	})
	if _, err := Run(t.Context(), cfg); !errors.Is(err, pipe) {
		t.Errorf("face error came back as %v", err)
	}
	if len(bk.noted(logbook.NoteEnd)) != 1 || len(bk.captures) != 1 {
		t.Errorf("after a face error: end notes %q, %d captures", bk.noted(logbook.NoteEnd), len(bk.captures))
	}
	if _, err := Run(t.Context(), Config{}); err == nil {
		t.Error("an empty set-up walked")
	}
}

func TestLossAndReturnOfTheLink(t *testing.T) {
	b := newBench()
	b.script = []link.Item{
		{Kind: link.Remark, TS: 0.5, Says: remark.New("link.shape")},
		{Kind: link.Lost, TS: 3, Says: remark.New("link.lost")},
		{Kind: link.Back, TS: 3.1, Says: remark.New("link.back")},
	}
	bk := &book{}
	var kinds []guide.Kind
	cfg, _ := set(t, guide.Config{HandsFree: true}, b, bk, func(e guide.Event) error {
		kinds = append(kinds, e.Kind)
		return nil
	})
	sum, err := Run(t.Context(), cfg)
	if err != nil || !sum.Finished {
		t.Fatalf("%+v, %v", sum, err)
	}
	if !slices.Contains(kinds, guide.Paused) || !slices.Contains(kinds, guide.Resumed) {
		t.Error("the loss or the return was not shown")
	}
	if got := bk.noted(logbook.NoteLink); len(got) != 2 {
		t.Errorf("link notes %q, want two", got)
	}
}

// TestCommandsInOrderNeedNoWaiting sends all commands beforehand, as a script
// that does not listen would.
func TestCommandsInOrderNeedNoWaiting(t *testing.T) {
	b, bk := newBench(), &book{}
	cfg, _ := set(t, guide.Config{}, b, bk, func(guide.Event) error { return nil })
	commands := make(chan guide.Command, 64)
	for text := range strings.SplitSeq("\n\nskip\nnote all well\n\nredo\n\ngoto T\n\nstop", "\n") {
		c, err := parseCommand(text)
		if err != nil {
			t.Fatal(err)
		}
		commands <- c
	}
	cfg.Commands, cfg.InOrder = commands, true
	cfg.Face = func(e guide.Event) error { b.carry(e); return nil }
	sum, err := Run(t.Context(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	if len(bk.captures) != 5 || sum.Captures != 4 || !slices.Equal(bk.voids, []int{3}) {
		t.Errorf("%d captures, %d count, voids %v; want 5, 4 and the third", len(bk.captures), sum.Captures, bk.voids)
	}
	if last := bk.captures[len(bk.captures)-1]; last.Station != "T" || last.Visit != logbook.VisitBase {
		t.Errorf("the last capture is at %s (%s)", last.Station, last.Visit)
	}
	if !slices.Equal(bk.noted(logbook.NoteText), []string{"all well"}) || len(bk.noted(logbook.NoteSkipped)) != 1 {
		t.Errorf("notes %+v", bk.notes)
	}
}

func TestTheEndOfTheCommandsStopsAWalkThatNeedsThem(t *testing.T) {
	b, bk := newBench(), &book{}
	cfg, _ := set(t, guide.Config{}, b, bk, func(guide.Event) error { return nil })
	commands := make(chan guide.Command, 1)
	commands <- guide.Command{Kind: guide.CmdCapture}
	close(commands)
	cfg.Commands, cfg.InOrder = commands, true
	cfg.Face = func(e guide.Event) error { b.carry(e); return nil }
	sum, err := Run(t.Context(), cfg)
	if !errors.Is(err, ErrInput) || sum.Captures != 1 || sum.Finished {
		t.Errorf("%+v, %v; want the one capture and an error", sum, err)
	}
}

// TestASteppedSourceWalksTheSameEachTime compares two runs sample by sample.
func TestASteppedSourceWalksTheSameEachTime(t *testing.T) {
	var books [2]book
	for i := range books {
		b := newBench()
		cfg, _ := set(t, guide.Config{}, b, &books[i], func(guide.Event) error { return nil })
		cfg.Source = steppedBench{b}
		if sum, err := Run(t.Context(), cfg); err != nil || !sum.Finished {
			t.Fatalf("%+v, %v", sum, err)
		}
	}
	if !reflect.DeepEqual(books[0].captures, books[1].captures) || !reflect.DeepEqual(books[0].notes, books[1].notes) {
		t.Error("two runs of the same bench differ")
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	b, bk := newBench(), &book{}
	cfg, _ := set(t, guide.Config{}, b, bk, func(guide.Event) error { return nil })
	cfg.Source = steppedBench{b}
	if sum, err := Run(ctx, cfg); err != nil || sum.Finished || len(bk.noted(logbook.NoteEnd)) != 1 {
		t.Errorf("cancelled: %+v, %v", sum, err)
	}
}
