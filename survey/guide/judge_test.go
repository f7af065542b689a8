package guide

import (
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// stream feeds a walk with b(t) at a rate until the first Captured or
// Rejected, which it returns.
func stream(t *testing.T, w *Walk, rate float64, seconds float64, reading func(ts float64) survey.Sample) Event {
	t.Helper()
	from := w.ts
	for ts := from + 1/rate; ts < from+seconds; ts += 1 / rate {
		s := reading(ts)
		s.TS = ts
		events := w.Sample(s)
		for i := 0; i < len(events); i++ {
			switch e := events[i]; e.Kind {
			case Store:
				events = append(events, w.Stored(e.Capture.Number)...)
			case Captured, Rejected:
				return e
			}
		}
	}
	return Event{}
}

// asked is a walk of three stations whose capture has been asked for.
func asked(t *testing.T, change func(*Config)) *Walk {
	t.Helper()
	cfg := plain(hull(3, 1, false))
	if change != nil {
		change(&cfg)
	}
	w := mustNew(t, cfg)
	w.Start()
	w.Command(Command{Kind: CmdCapture})
	return w
}

func TestCaptureRules(t *testing.T) {
	noise := newHand(t, 21)
	at := func(b r3.Vec) survey.Sample {
		n := func() float64 { return 0.2 * noise.rng.NormFloat64() }
		return survey.Sample{B: r3.Add(b, r3.Vec{X: n(), Y: n(), Z: n()})}
	}
	for _, tt := range []struct {
		name    string
		code    string // empty: captured
		rate    float64
		reading func(ts float64) survey.Sample
		says    func(remark.Remark) bool
	}{
		{"still", "", 25, func(float64) survey.Sample { return at(room) }, nil},
		{"never at rest", "unsteady", 25, func(ts float64) survey.Sample {
			return at(r3.Add(room, r3.Vec{X: 30 * math.Sin(5*ts), Y: 30 * math.Cos(4*ts)}))
		}, func(r remark.Remark) bool { return r.Values["within_s"] == 8.0 }},
		{"a magnet comes and goes", "changed", 25, func(ts float64) survey.Sample {
			if ts > 2 && ts < 2.8 {
				return at(r3.Add(room, r3.Vec{Z: 40}))
			}
			return at(room)
		}, is("guide.changed:back")},
		{"a magnet comes to stay", "changed", 25, func(ts float64) survey.Sample {
			if ts > 3 {
				return at(r3.Add(room, r3.Vec{Z: 6}))
			}
			return at(room)
		}, func(r remark.Remark) bool { return math.Abs(r.Values["by_ut"].(float64)-6) < 0.5 }},
		{"the probe turns", "moved", 25, func(ts float64) survey.Sample {
			if ts > 3 {
				return at(magmath.Identity().Add(magmath.Cross(r3.Vec{Z: 0.15})).Apply(room))
			}
			return at(room)
		}, is("guide.moved")},
		{"one axis at the end of its range", CodeSaturated, 25, func(float64) survey.Sample { return at(r3.Vec{X: 799, Y: 10, Z: -300}) }, func(r remark.Remark) bool { return r.Values["axis"] == "x" }},
		{"a spike", "", 25, func(ts float64) survey.Sample {
			if ts > 3 && ts < 3.05 {
				return at(r3.Vec{X: 400})
			}
			return at(room)
		}, nil},
		{"five a second", "", 5, func(float64) survey.Sample { return at(room) }, nil},
		{"one a second", "", 1, func(float64) survey.Sample { return at(room) }, nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			e := stream(t, asked(t, nil), tt.rate, 40, tt.reading)
			want := Captured
			if tt.code != "" {
				want = Rejected
			}
			if e.Kind != want || e.Code() != tt.code || tt.says != nil && !tt.says(e.Why) {
				t.Errorf("%s %q: %v; want %s %q", e.Kind, e.Code(), e.Why, want, tt.code)
			}
			if want == Captured && r3.Norm(r3.Sub(e.B, room)) > 0.4 {
				t.Errorf("captured %v, the field is %v", e.B, room)
			}
		})
	}
}

func TestAGapMakesADwellStale(t *testing.T) {
	w := asked(t, nil)
	e := stream(t, w, 25, 40, func(float64) survey.Sample { return survey.Sample{B: room} })
	if e.Kind != Captured {
		t.Fatalf("first: %+v", e)
	}
	w = asked(t, nil)
	for ts := 0.0; w.phase != dwelling; ts += 0.04 {
		w.Sample(survey.Sample{TS: ts, B: room})
	}
	out := w.Sample(survey.Sample{TS: w.ts + 3, B: room})
	if len(out) != 2 || out[0].Code() != CodeStale || out[1].Kind != Go {
		t.Errorf("after a gap of 3 s: %+v", out)
	}
}

// A module whose clock stops in the middle of a dwell is told of, and the dwell
// does not grow for ever.
func TestAClockThatStandsStillEndsTheDwell(t *testing.T) {
	for _, creep := range []float64{0, 1e-9} {
		w := asked(t, nil)
		ts := 0.0
		for ; w.phase != dwelling; ts += 0.04 {
			w.Sample(survey.Sample{TS: ts, B: room})
		}
		var out []Event
		n := 0
		for ; n < 100_000 && (len(out) == 0 || out[0].Kind != Rejected); n++ {
			ts += creep
			out = w.Sample(survey.Sample{TS: ts, B: room})
		}
		if len(out) != 2 || out[0].Kind != Rejected || out[0].Code() != CodeStale || out[0].Why.Code != "guide.stale:clock" || out[1].Kind != Go {
			t.Errorf("creeping %g s: after %d readings %+v", creep, n, out)
		}
	}
	// A thousand readings a second are no reason.
	w := asked(t, nil)
	h := newHand(t, 4)
	e := stream(t, w, 1000, 40, func(ts float64) survey.Sample {
		return survey.Sample{B: r3.Add(room, r3.Vec{X: 0.2 * h.rng.NormFloat64()})}
	})
	if e.Kind != Captured {
		t.Errorf("1000 a second: %+v", e)
	}
}

func TestAStuckProbeIsRefusedButACoarseOneIsNot(t *testing.T) {
	same := func(float64) survey.Sample { return survey.Sample{B: room} }
	w := asked(t, nil)
	if e := stream(t, w, 25, 30, same); e.Kind != Captured {
		t.Fatalf("a dwell without noise: %+v", e)
	}
	w.Command(Command{Kind: CmdCapture})
	if e := stream(t, w, 25, 30, same); e.Kind != Rejected || e.Code() != "stuck" {
		t.Errorf("no reading changed since the last station: %+v", e)
	}
	// The same two levels, but the probe read something else on the way.
	w = asked(t, nil)
	stream(t, w, 25, 30, same)
	stream(t, w, 25, 1, func(float64) survey.Sample { return survey.Sample{B: r3.Vec{X: 3, Y: 4, Z: 5}} })
	w.Command(Command{Kind: CmdCapture})
	if e := stream(t, w, 25, 30, same); e.Kind != Captured {
		t.Errorf("a coarse probe in a uniform field: %+v", e)
	}
}

func TestTooFewPulsesByTheLabelAreRefused(t *testing.T) {
	for _, pulses := range []int{3, 6} {
		w := asked(t, func(c *Config) { c.State, c.Pulsed = "motor", true })
		h := newHand(t, 4)
		count, was := 0, false
		e := stream(t, w, 25, 60, func(float64) survey.Sample {
			if w.dwell.loadOn && !was {
				count++
			}
			was = w.dwell.loadOn
			s := survey.Sample{B: r3.Add(room, r3.Vec{X: 0.2 * h.rng.NormFloat64()}), Has: survey.HasLoadOn}
			s.LoadOn = w.dwell.loadOn && count <= pulses
			return s
		})
		if pulses < 4 && (e.Kind != Rejected || e.Code() != "pulses") || pulses >= 4 && e.Kind != Captured {
			t.Errorf("%d pulses: %s %s %v", pulses, e.Kind, e.Code(), e.Why)
		}
	}
}

func TestTheCurrentSentCountsPulsesAndIsComparedWithTheOneStated(t *testing.T) {
	for _, tt := range []struct {
		name        string
		idle, on    float64 // amperes
		inrush      float64 // amperes, for one reading of each pulse
		pulses      int
		code        string
		remarks     int
		wantRefusal bool
	}{
		{"as stated", 0.03, 12, 0, 6, "", 0, false},
		{"another current", 0.03, 5, 0, 6, "", 1, false},
		{"switched twice only", 0.03, 12, 0, 2, "pulses", 0, true},
		{"no telemetry to speak of", 0.03, 0.03, 0, 6, "", 0, false},
		{"other things draw more than half of it", 7, 12, 0, 6, "", 0, false},
		{"a current at the start far above it", 0.03, 12, 40, 6, "", 0, false},
		{"a small load", 0.01, 0.15, 0, 2, "pulses", 0, true},
	} {
		w := asked(t, func(c *Config) { c.State, c.Pulsed, c.CurrentA = "motor", true, 12.5 })
		h := newHand(t, 4)
		count, was := 0, false
		e := stream(t, w, 25, 60, func(float64) survey.Sample {
			first := w.dwell.loadOn && !was
			if first {
				count++
			}
			was = w.dwell.loadOn
			s := survey.Sample{B: r3.Add(room, r3.Vec{X: 0.2 * h.rng.NormFloat64()}), Has: survey.HasCurrent, CurrentA: tt.idle}
			switch {
			case w.dwell.loadOn && count <= tt.pulses && first && tt.inrush > 0:
				s.CurrentA = tt.inrush
			case w.dwell.loadOn && count <= tt.pulses:
				s.CurrentA = tt.on
			}
			return s
		})
		if (e.Kind == Rejected) != tt.wantRefusal || e.Code() != tt.code {
			t.Errorf("%s: %s %s %v", tt.name, e.Kind, e.Code(), e.Why)
		}
		remarks := 0
		for _, r := range w.verdict.remarks {
			if r.Code() == "current" {
				remarks++
			}
		}
		if remarks != tt.remarks {
			t.Errorf("%s: %d remarks on the current, want %d", tt.name, remarks, tt.remarks)
		}
	}
}

func TestMovingTheProbeBetweenPulsesIsRefused(t *testing.T) {
	for _, step := range []r3.Vec{{}, {X: 30, Y: 20}} {
		for _, moved := range []bool{false, true} {
			w := asked(t, func(c *Config) { c.State, c.Pulsed = "motor", true })
			h := newHand(t, 4)
			slow := 0.0 // an operator nine tenths of a second late at the switch
			on := false
			e := stream(t, w, 25, 60, func(ts float64) survey.Sample {
				if w.dwell.loadOn != on && slow == 0 {
					slow = ts + 0.9
				}
				if slow > 0 && ts > slow {
					on, slow = w.dwell.loadOn, 0
				}
				b := room
				if on {
					b = r3.Add(b, step)
				}
				if moved && ts > 22 {
					b = magmath.Identity().Add(magmath.Cross(r3.Vec{X: 0.5, Z: 0.6})).Apply(b)
				}
				return survey.Sample{B: r3.Add(b, r3.Vec{X: 0.2 * h.rng.NormFloat64(), Z: 0.2 * h.rng.NormFloat64()})}
			})
			if moved && (e.Kind != Rejected || e.Code() != "moved") || !moved && e.Kind != Captured {
				t.Errorf("step %v, moved %v: %s %s %v", step, moved, e.Kind, e.Code(), e.Why)
			}
		}
	}
}

func TestHandsFreeWaitsForTheMove(t *testing.T) {
	cfg := plain(hull(3, 1, false))
	cfg.HandsFree = true
	w := mustNew(t, cfg)
	w.Start()
	h := newHand(t, 2)
	still := func(float64) survey.Sample {
		n := func() float64 { return 0.2 * h.rng.NormFloat64() }
		return survey.Sample{B: r3.Add(room, r3.Vec{X: n(), Y: n(), Z: n()})}
	}
	if e := stream(t, w, 25, 30, still); e.Kind != Captured {
		t.Fatalf("the first station needs no move: %+v", e)
	}
	reminded := 0
	for range 1500 { // a minute
		s := still(0)
		s.TS = w.ts + 0.04
		for _, e := range w.Sample(s) {
			switch {
			case e.Kind == Store:
				t.Fatal("captured again without a move")
			case e.Code() == "not-moved":
				reminded++
			}
		}
	}
	if reminded != 1 {
		t.Errorf("reminded %d times in a minute, want once", reminded)
	}
	w.Command(Command{Kind: CmdCapture})
	if e := stream(t, w, 25, 30, still); e.Kind != Captured {
		t.Errorf("a capture by command: %+v", e)
	}
}

// turnZ5 turns by five degrees about the vertical: two placements of a hand.
func turnZ5(b r3.Vec) r3.Vec {
	s, c := math.Sincos(5 * math.Pi / 180)
	return r3.Vec{X: c*b.X - s*b.Y, Y: s*b.X + c*b.Y, Z: b.Z}
}

func TestMisclosureAtTheBase(t *testing.T) {
	for _, tt := range []struct {
		name, code string
		after      r3.Vec
		every      int
	}{
		{"same", "", room, 10},
		{"stronger", "base-field", r3.Scale(1.1, room), 5},
		{"turned", "base-moved", turnZ(room, 90), 5},
		{"a little stronger", "", r3.Scale(1.03, room), 5},
		{"set down otherwise", "", turnZ5(room), 10},
	} {
		w := mustNew(t, plain(hull(3, 1, true)))
		w.baseB = &room
		out := w.misclosure(&logbook.Capture{Visit: logbook.VisitBase, BUT: tt.after})
		code := ""
		if len(out) > 0 {
			code = out[0].Code()
		}
		if code != tt.code || w.every != tt.every {
			t.Errorf("%s: %q and a return every %d, want %q and %d", tt.name, code, w.every, tt.code, tt.every)
		}
	}
}

func TestFirstCapturesAgainstTheReference(t *testing.T) {
	// F 50 uT, dip 67 degrees, nose 60 degrees from magnetic north: forward
	// H cos 60, right -H sin 60, by the meaning of the words.
	dip, nose := 67.0, 60.0
	ref := &Reference{FUT: 50, DipDeg: &dip, NoseDeg: &nose}
	b := r3.Vec{X: 19.54 * 0.5, Y: -19.54 * 0.8660, Z: 46.03}
	for _, tt := range []struct {
		name, code string
		b          r3.Vec
	}{
		{"as it should be", "", b},
		{"z reversed", "dip-sign", r3.Vec{X: b.X, Y: b.Y, Z: -b.Z}},
		{"y reversed", "mirrored", r3.Vec{X: b.X, Y: -b.Y, Z: b.Z}},
		{"in milligauss", "magnitude", r3.Scale(10, b)},
		{"20 per cent more indoors", "", r3.Scale(1.2, b)},
	} {
		cfg := plain(hull(3, 1, true))
		cfg.Reference = ref
		w := mustNew(t, cfg)
		var codes strings.Builder
		for range 3 {
			for _, e := range w.againstReference(&logbook.Capture{BUT: tt.b}) {
				codes.WriteString(e.Code())
			}
		}
		if codes.String() != tt.code {
			t.Errorf("%s: %q, want %q, once", tt.name, codes.String(), tt.code)
		}
	}
}

// TestRecordedMagnetIsNoticed replays a real recording in which a magnet is
// put to a resting sensor.
//
// Source of the data: Laidig, Caruso, Cereatti, Seel 2021, BROAD, Data 6(7),
// doi 10.3390/data6070072, trial 32 (CC BY 4.0).
func TestRecordedMagnetIsNoticed(t *testing.T) {
	dir := os.Getenv("QUIETMOUNT_RECORDED")
	if dir == "" {
		dir = filepath.Join("..", "..", "..", "shared", "reference", "recorded")
	}
	f, err := os.Open(filepath.Join(dir, "broad_32_attached_magnet_1cm.csv"))
	if err != nil {
		t.Skip("the recording is not here; QUIETMOUNT_RECORDED can name its folder")
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	w := asked(t, func(c *Config) {
		c.Rules = DefaultRules()
		c.Rules.DwellS, c.Rules.MaxDwellS, c.Rules.MinSamples = 60, 60, 1500
	})
	for _, row := range rows[1:] {
		var v [7]float64
		for i := range v {
			v[i], err = strconv.ParseFloat(row[i], 64)
			if err != nil {
				break
			}
		}
		if err != nil {
			continue
		}
		s := survey.Sample{TS: v[0], Acc: r3.Vec{X: v[1] / 9.81, Y: v[2] / 9.81, Z: v[3] / 9.81}, B: r3.Vec{X: v[4], Y: v[5], Z: v[6]}, Has: survey.HasAcc}
		for _, e := range w.Sample(s) {
			switch e.Kind {
			case Store:
				t.Fatalf("a dwell of a minute with a magnet coming in was taken at %.1f s", s.TS)
			case Rejected:
				t.Logf("%s: %v", e.Code(), e.Why)
				if e.Code() != "changed" && e.Code() != "moved" && e.Code() != "unsteady" {
					t.Errorf("refused as %s", e.Code())
				}
				return
			}
		}
	}
	t.Error("the recording ended before the dwell did")
}

func is(code string) func(remark.Remark) bool {
	return func(r remark.Remark) bool { return r.Code == code }
}
