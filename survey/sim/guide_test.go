package sim

import (
	"cmp"
	"errors"
	"io"
	"maps"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
)

// walked is what came of a simulated walk.
type walked struct {
	bench    *Bench
	captures []logbook.Capture
	events   []guide.Event
}

func (r *walked) count(k guide.Kind, code string) int {
	n := 0
	for _, e := range r.events {
		if e.Kind == k && (code == "" || e.Code() == code) {
			n++
		}
	}
	return n
}

// hidden is near the magnet that the craft file does not name.
var hidden = r3.Vec{X: -160, Y: 95, Z: -20}

// journey is a walk to be made.
type journey struct {
	probe    Probe
	hand     Hand
	bench    BenchOptions
	operator OperatorOptions
	stations int  // around the hidden magnet
	prior    bool // an earlier run without mistakes to compare with
}

// walk joins bench, operator, decoder and guide as a survey does, without
// disk or terminal.
func (j journey) walk(t *testing.T) *walked {
	t.Helper()
	w, err := Sandpiper(3)
	if err != nil {
		t.Fatal(err)
	}
	marks := w.Craft.Stations()
	slices.SortStableFunc(marks, func(a, b survey.Station) int {
		return cmp.Compare(r3.Norm(r3.Sub(a.At, hidden)), r3.Norm(r3.Sub(b.At, hidden)))
	})
	marks = marks[:j.stations]
	route, err := guide.Plan(w.Craft, guide.PlanOptions{State: j.operator.State, Stations: marks, Pulsed: j.operator.Pulsed})
	if err != nil {
		t.Fatal(err)
	}
	cfg := guide.Config{
		Craft: w.Craft, State: j.operator.State, CurrentA: j.operator.CurrentA, Pulsed: j.operator.Pulsed,
		HandsFree: j.operator.HandsFree, Route: &route, Axes: w.Craft.Module.Axes,
	}
	if j.prior {
		cfg.Prior = map[string]r3.Vec{}
		for _, s := range marks {
			cfg.Prior[s.Name] = w.Field(w.Craft.Module.SensorAt(s.At, 0), 0, State{})
		}
	}
	g, err := guide.New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	b := NewBench(w, j.probe, j.hand, j.bench)
	j.operator.Stations = marks
	r := &walked{bench: b}
	r.follow(t, g, NewOperator(b, j.operator), NewStream(b, link.NewDecoder(link.DecodeOptions{}), 3*3600))
	return r
}

func (r *walked) follow(t *testing.T, g *guide.Walk, op *Operator, s *Stream) {
	t.Helper()
	r.hear(g, op, g.Start())
	for !g.Over() {
		item, err := s.Next(t.Context())
		if errors.Is(err, io.EOF) {
			t.Fatalf("the walk did not end; last events %+v", r.events[max(0, len(r.events)-4):])
		}
		if err != nil {
			t.Fatal(err)
		}
		switch item.Kind {
		case link.Reading:
			r.hear(g, op, g.Sample(item.Sample))
		case link.Lost, link.Back:
			r.hear(g, op, g.Link(item.Kind == link.Back, item.TS))
		}
		for _, c := range typed(op) {
			r.hear(g, op, g.Command(c))
		}
	}
}

func (r *walked) hear(g *guide.Walk, op *Operator, events []guide.Event) {
	for _, e := range events {
		r.events = append(r.events, e)
		op.Show(e)
		if e.Kind == guide.Store {
			r.captures = append(r.captures, *e.Capture)
			r.hear(g, op, g.Stored(e.Capture.Number))
		}
	}
}

// atTheirMarks checks that what was kept and not voided is the field at the
// marks, to what a hand of 1.5 degrees and 2 mm does.
func (r *walked) atTheirMarks(t *testing.T) {
	t.Helper()
	void := map[int]bool{}
	for _, e := range r.events {
		if e.Kind == guide.Voided {
			void[e.Capture.Number] = true
		}
	}
	w := r.bench.World
	for _, c := range r.captures {
		at := w.Craft.Module.SensorAt(c.At, 0)
		want := w.Field(at, 0, State{Away: r.bench.Away()})
		slope := r3.Norm(r3.Sub(w.Field(r3.Add(at, r3.Vec{X: 2, Y: 2}), 0, State{Away: r.bench.Away()}), want))
		limit := 4*r3.Norm(want)*1.5*math.Pi/180 + 4*slope + 3
		if d := r3.Norm(r3.Sub(c.BUT, want)); d > limit && !void[c.Number] {
			t.Errorf("capture %d at %s is off by %.1f uT, limit %.1f", c.Number, c.Station, d, limit)
		}
	}
}

func TestOperatorWalksTheGuide(t *testing.T) {
	typical := Faults{Banner: []string{"compass 1.0 (invented)"}, HalfFirstLine: true, NoiseRate: .01, NaNRate: .01, Ends: EndsMixed}
	for _, tt := range []struct {
		name string
		journey
	}{
		{"by command", journey{operator: OperatorOptions{State: survey.StateUnpowered}}},
		{"hands-free", journey{operator: OperatorOptions{State: survey.StateUnpowered, HandsFree: true}}},
		{"background", journey{operator: OperatorOptions{State: survey.StateBackground}}},
		{"poor line", journey{operator: OperatorOptions{State: survey.StateUnpowered}, bench: BenchOptions{Faults: typical, Shape: ShapeLabels}}},
		{"unplugged", journey{operator: OperatorOptions{State: survey.StateUnpowered}, bench: BenchOptions{Faults: Faults{Unplugs: []Span{{40, 15}}}}}},
		{"board reset", journey{operator: OperatorOptions{State: survey.StateUnpowered, HandsFree: true}, bench: BenchOptions{Faults: Faults{Banner: []string{"compass 1.0 (invented)"}, Resets: []float64{40}}}}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			j := tt.journey
			j.probe, j.hand, j.stations, j.bench.Seed = DefaultProbe(), DefaultHand(), 12, 5
			r := j.walk(t)
			if n := r.count(guide.Captured, ""); n < 10 {
				t.Errorf("%d captures", n)
			}
			r.atTheirMarks(t)
			t.Logf("%d captures, %d refused, %.0f minutes", r.count(guide.Captured, ""), r.count(guide.Rejected, ""), r.bench.Now()/60)
		})
	}
}

// A pulsed walk: the load follows the prompts, and what was kept shows a step
// of the true size.
func TestOperatorPulsesTheLoad(t *testing.T) {
	r := journey{
		probe: DefaultProbe(), hand: DefaultHand(), stations: 4,
		operator: OperatorOptions{State: "left thruster", CurrentA: 18, Pulsed: true, HandsFree: true},
	}.walk(t)
	w := r.bench.World
	if len(r.captures) < 4 {
		t.Fatalf("%d captures", len(r.captures))
	}
	for _, c := range r.captures {
		want := w.LoadField("left thruster", 18, w.Craft.Module.SensorAt(c.At, 0))
		var on, off r3.Vec
		var nOn, nOff float64
		for _, s := range c.Samples {
			i := slices.IndexFunc(c.Prompts, func(p logbook.Prompt) bool { return p.TS > s.TS })
			if i <= 0 || s.TS-c.Prompts[i-1].TS < .6 {
				continue
			}
			if c.Prompts[i-1].On {
				on, nOn = r3.Add(on, s.B), nOn+1
			} else {
				off, nOff = r3.Add(off, s.B), nOff+1
			}
		}
		step := r3.Sub(r3.Scale(1/nOn, on), r3.Scale(1/nOff, off))
		// 800 correlated readings a level: 0.03 uT a component; the pose turns the step by a few per cent.
		near(t, c.Station, step, want, .15+.12*r3.Norm(want))
	}
	if r.bench.state.Levels["left thruster"] != 0 {
		t.Error("the thruster is on at the end")
	}
}

// An arrow that points backwards and a probe lifted early are noticed by the
// guide and set right by the operator: the last capture of every station is
// that of its mark.
func TestMistakesAreNoticed(t *testing.T) {
	for _, m := range []Mistake{{8, Backwards}, {6, EarlyLift}} {
		t.Run(string(m.Kind), func(t *testing.T) {
			r := journey{
				probe: DefaultProbe(), hand: DefaultHand(), stations: 20, prior: true,
				operator: OperatorOptions{State: survey.StateUnpowered, Mistakes: []Mistake{m}},
			}.walk(t)
			if r.count(guide.Warning, guide.CodeTurnedArrow)+r.count(guide.Rejected, "") == 0 {
				t.Error("nothing was noticed")
			}
			last := map[string]logbook.Capture{}
			for _, c := range r.captures {
				last[c.Station] = c
			}
			r.captures = slices.Collect(maps.Values(last))
			r.atTheirMarks(t)
		})
	}
}

// Whether or not the guide can tell, the probe on the wrong mark reads the
// wrong field.
func TestWrongMarkReadsTheNeighboursField(t *testing.T) {
	r := journey{
		probe: DefaultProbe(), stations: 20,
		operator: OperatorOptions{State: survey.StateUnpowered, Mistakes: []Mistake{{8, WrongMark}}},
	}.walk(t)
	w := r.bench.World
	wrong := 0
	for _, c := range r.captures {
		want := w.Field(w.Craft.Module.SensorAt(c.At, 0), 0, State{})
		if r3.Norm(r3.Sub(c.BUT, want)) > 1.5 { // the room drifts by some tenths
			wrong++
		}
	}
	if wrong != 1 {
		t.Errorf("%d captures read another field than their mark's, want the one mistake", wrong)
	}
}
