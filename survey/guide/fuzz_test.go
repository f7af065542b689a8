package guide

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// program runs bytes as an operator and a link gone mad, and checks what must
// hold whatever they do. It returns the walk.
func program(t *testing.T, data []byte) *Walk {
	t.Helper()
	if len(data) == 0 {
		return nil
	}
	cfg := plain(hull(2, 2, data[0]&1 != 0))
	cfg.HandsFree, cfg.Pulsed = data[0]&2 != 0, data[0]&4 != 0
	cfg.SkipChecklist = data[0]&8 != 0
	if cfg.Pulsed {
		cfg.State = "motor"
	}
	w := mustNew(t, cfg)
	c := &checker{t: t, w: w}
	c.take(w.Start())
	ts, level := 0.0, room
	for _, b := range data[1:] {
		switch b % 16 {
		case 0, 1, 2, 3, 4, 5: // rest for a while
			for range 8 << (b % 6) {
				ts += 0.04
				jitter := r3.Vec{X: 0.1 * math.Sin(1e4*ts), Y: 0.1 * math.Cos(3e4*ts), Z: 0.1 * math.Sin(7e4*ts)}
				c.take(w.Sample(survey.Sample{TS: ts, B: r3.Add(level, jitter)}))
			}
		case 6: // to another place
			level = r3.Vec{X: float64(b) / 3, Y: -float64(b) / 5, Z: 40}
		case 7: // rubbish
			c.take(w.Sample(survey.Sample{TS: ts - 1, B: level}))
			c.take(w.Sample(survey.Sample{TS: math.NaN(), B: level}))
			c.take(w.Sample(survey.Sample{TS: ts, B: r3.Vec{X: math.Inf(1)}}))
		case 8:
			if b >= 128 {
				c.take(w.Silence(float64(b/16) - 12))
				continue
			}
			c.take(w.Link(b&16 == 0, ts))
		case 9:
			c.fail = b&16 != 0
		case 10:
			c.take(w.Command(Command{Kind: CmdGoto, Text: []string{"A1", "t", "B2", "", "Q9"}[int(b/16)%5]}))
		case 11:
			kinds := []CommandKind{CmdRedo, CmdSkip, CmdNote, CmdConfirm, "nonsense", CmdRedo, CmdSkip, CmdStop}
			c.take(w.Command(Command{Kind: kinds[int(b/16)%8], Text: "x"}))
		case 12:
			c.take(w.Command(Command{Kind: []CommandKind{CmdPause, CmdGoOn, CmdCapture}[int(b/16)%3]}))
		default:
			c.take(w.Command(Command{Kind: CmdCapture}))
		}
	}
	c.take(w.Command(Command{Kind: CmdStop}))
	c.finish()
	return w
}

// checker is a caller that stores what it is asked to and holds the guide to
// its word.
type checker struct {
	t      *testing.T
	w      *Walk
	fail   bool
	stored map[int]bool
	open   string // the station announced and not yet dealt with
	done   bool
	on     bool
}

func (c *checker) take(events []Event) {
	for _, e := range events {
		if c.done {
			c.t.Fatalf("%s after done", e.Kind)
		}
		switch e.Kind {
		case Store:
			if c.stored[e.Capture.Number] {
				c.t.Fatalf("capture %d was to be stored twice", e.Capture.Number)
			}
			if c.fail {
				c.fail = false
				c.take(c.w.StoreFailed(errors.New("no room")))
				continue
			}
			if c.stored == nil {
				c.stored = map[int]bool{}
			}
			c.stored[e.Capture.Number] = true
			c.take(c.w.Stored(e.Capture.Number))
		case Captured:
			if !c.stored[e.Capture.Number] {
				c.t.Fatalf("capture %d was acknowledged before it was stored", e.Capture.Number)
			}
			if e.Station.Name != c.open || e.Capture.Station != c.open {
				c.t.Fatalf("captured %s while %s was asked for", e.Capture.Station, c.open)
			}
			c.open = ""
		case Skipped:
			if e.Station.Name != c.open {
				c.t.Fatalf("skipped %s while %s was asked for", e.Station.Name, c.open)
			}
			c.open = ""
		case Go:
			c.open = e.Station.Name
		case Switch:
			c.on = e.On
		case Done:
			c.done = true
		}
	}
}

func (c *checker) finish() {
	if !c.done || !c.w.Over() {
		c.t.Fatal("not over after stop")
	}
	if c.on {
		c.t.Fatal("the load was left on")
	}
	for _, cp := range c.w.captures {
		if !c.stored[cp.Number] {
			c.t.Fatalf("capture %d is counted but was never stored", cp.Number)
		}
	}
	if len(c.w.captures) != len(c.stored) {
		c.t.Fatalf("%d stored, %d remembered", len(c.stored), len(c.w.captures))
	}
}

func FuzzWalk(f *testing.F) {
	f.Add([]byte{8, 12, 3, 3, 6, 12, 3, 3, 12, 3, 3, 12, 3, 3, 12, 3, 3})
	f.Add([]byte{10, 3, 4, 6, 4, 22, 4, 38, 4, 54, 4})
	f.Add([]byte{13, 12, 5, 8, 24, 12, 5, 5, 11, 12, 5})
	f.Add([]byte{0, 12, 12, 12, 12, 12, 12, 25, 12, 3, 12, 11, 27, 43, 10, 26, 7})
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 60 {
			data = data[:60]
		}
		program(t, data)
	})
}

func BenchmarkSample(b *testing.B) {
	cfg := plain(hull(12, 5, true))
	w := mustNew(b, cfg)
	w.Start()
	h := newHand(b, 1)
	readings := make([]survey.Sample, 1000)
	for i := range readings {
		readings[i] = h.reading(r3.Vec{}, h.turn)
	}
	ts, i := 0.0, 0
	b.ReportAllocs()
	for b.Loop() {
		ts += 0.02
		s := readings[i%1000]
		i++
		s.TS = ts
		w.Sample(s)
	}
}

func BenchmarkStoredOf60(b *testing.B) {
	for b.Loop() {
		w := mustNew(b, plain(hull(12, 5, true)))
		quickWalk(b, w, 1, plainScene(1), nil, nil)
	}
}
