package guide

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/logbook"
)

func TestWalkFromStartToEnd(t *testing.T) {
	for _, tt := range []struct {
		name      string
		handsFree bool
		rate      float64
	}{
		{"by command", false, 25},
		{"hands-free", true, 25},
		{"slow sensor", true, 5},
		{"fast sensor", false, 100},
	} {
		t.Run(tt.name, func(t *testing.T) {
			c := hull(4, 3, true)
			cfg := plain(c)
			cfg.HandsFree = tt.handsFree
			h := newHand(t, 1)
			h.hands, h.rate = !tt.handsFree, tt.rate
			w := mustNew(t, cfg)
			h.walk(w, 900)
			if !w.Over() {
				t.Fatalf("the walk is not over after %.0f s; last: %+v", h.ts, h.events[len(h.events)-1])
			}
			if n := h.count(Rejected); n != 0 {
				t.Errorf("%d rejections, want none: %v", n, h.coded(Rejected, "unsteady"))
			}
			seen := map[string]int{}
			for _, cp := range w.captures {
				seen[cp.Station]++
				want := fieldAt(cp.At, nil)
				if d := r3.Norm(r3.Sub(cp.BUT, want)); d > 6 {
					t.Errorf("capture at %s is off by %.1f uT, more than a hand's tilt", cp.Station, d)
				}
				if cp.UncertaintyUT <= 0 || cp.UncertaintyUT > 0.3 {
					t.Errorf("uncertainty at %s is %g uT, for 0.3 uT a reading", cp.Station, cp.UncertaintyUT)
				}
			}
			// 12 stations, a repeat; base at the start, after ten visits and at the end.
			if len(seen) != 13 || seen["T"] != 3 || len(w.captures) != 16 {
				t.Errorf("captures by station: %v", seen)
			}
			last := h.events[len(h.events)-1]
			if last.Kind != Done || last.Code() != CodeFinished || last.Captures != 16 {
				t.Errorf("the last event is %+v, want done with 16 captures", last)
			}
			if h.count(Captured) != 16 || h.count(Go) != 16 || h.count(Ready) != 1 {
				t.Errorf("%d captured, %d go, %d ready", h.count(Captured), h.count(Go), h.count(Ready))
			}
		})
	}
}

func TestPulsedWalk(t *testing.T) {
	c := hull(2, 2, true)
	cfg := plain(c)
	cfg.State, cfg.Pulsed, cfg.HandsFree = "motor", true, true
	h := newHand(t, 3)
	h.hands, h.step = false, r3.Vec{X: 3, Y: -2, Z: 5}
	w := mustNew(t, cfg)
	h.walk(w, 900)
	if !w.Over() || h.count(Rejected) != 0 {
		t.Fatalf("over %v, %d rejections", w.Over(), h.count(Rejected))
	}
	for _, e := range h.events {
		if e.Kind != Captured {
			continue
		}
		if n := len(e.Capture.Prompts); n != 13 {
			t.Errorf("%d prompts at %s, want 13: off, then six times on and off", n, e.Station.Name)
		}
		for i, p := range e.Capture.Prompts {
			if p.On != (i%2 == 1) {
				t.Errorf("prompt %d is on=%v", i, p.On)
			}
			if i > 0 && (p.TS-e.Capture.Prompts[i-1].TS < 2.9 || p.TS-e.Capture.Prompts[i-1].TS > 3.1) {
				t.Errorf("prompts %d and %d are %.2f s apart", i-1, i, p.TS-e.Capture.Prompts[i-1].TS)
			}
		}
		if e.Difference == nil || r3.Norm(r3.Sub(*e.Difference, h.step)) > 0.6 {
			t.Errorf("difference at %s is %v, want about %v", e.Station.Name, e.Difference, h.step)
		}
		if d := r3.Norm(r3.Sub(e.B, fieldAt(e.Capture.At, nil))); d > 6 {
			t.Errorf("level with the load off is off by %.1f uT", d)
		}
	}
	if h.loadOn {
		t.Error("the walk ended with the load on")
	}
}

func TestStopDuringAPulseSwitchesOff(t *testing.T) {
	for _, how := range []string{"stop", "skip", "link", "redo"} {
		t.Run(how, func(t *testing.T) {
			c := hull(2, 2, false)
			cfg := plain(c)
			cfg.State, cfg.Pulsed = "motor", true
			h := newHand(t, 3)
			w := mustNew(t, cfg)
			h.w = w
			h.take(w.Start())
			for !h.loadOn || len(w.captures) == 0 && how == "redo" {
				h.take(w.Sample(h.reading(h.at, h.turn)))
				if h.ts > 200 {
					t.Fatal("the load was never on")
				}
			}
			before := len(h.events)
			switch how {
			case "link":
				h.take(w.Link(false, h.ts))
			default:
				h.hands = false
				h.take(w.Command(Command{Kind: CommandKind(how)}))
			}
			if h.loadOn {
				t.Errorf("the load was left on; events %+v", h.events[before:])
			}
		})
	}
}

func TestStoreFailureKeepsTheCapture(t *testing.T) {
	h := newHand(t, 5)
	h.fail = 3
	w := mustNew(t, plain(hull(2, 1, false)))
	h.walk(w, 300)
	if got := len(h.coded(Warning, CodeStoreFailed)); got != 3 {
		t.Errorf("%d warnings of a failed store, want 3", got)
	}
	if h.count(Captured) != 3 || h.count(Store) != 6 {
		t.Errorf("%d captured of %d stores, want 3 of 6", h.count(Captured), h.count(Store))
	}
	for i, c := range w.captures {
		if c.Number != i+1 {
			t.Errorf("capture %d has number %d", i+1, c.Number)
		}
	}
}

func TestRedoVoidsAndReturns(t *testing.T) {
	h := newHand(t, 6)
	w := mustNew(t, plain(hull(3, 1, false)))
	h.w = w
	h.take(w.Start())
	for len(w.captures) < 2 {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	second := w.captures[1].Station
	before := len(h.events)
	h.take(w.Command(Command{Kind: CmdRedo}))
	after := h.events[before:]
	if after[0].Kind != Voided || after[0].Capture.Number != 2 || w.captures[1].Void == "" {
		t.Fatalf("redo began with %+v", after[0])
	}
	if after[1].Kind != Go || after[1].Station.Name != second || after[1].Visit != logbook.VisitRedo {
		t.Errorf("then came %+v, want go %s", after[1], second)
	}
	h.take(w.Command(Command{Kind: CmdRedo}))
	if len(h.coded(Warning, "nothing-to-redo")) != 1 || w.captures[0].Void != "" {
		t.Error("a second redo before the capture went further back")
	}
	h.take(w.Command(Command{Kind: CmdCapture}))
	for !w.Over() && h.ts < 300 {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	if w.valid() != 4 || len(w.captures) != 5 {
		t.Errorf("%d captures of which %d count, want 5 and 4", len(w.captures), w.valid())
	}
}

func TestRedoByNameGoesBackToThatStation(t *testing.T) {
	h := newHand(t, 6)
	w := mustNew(t, plain(hull(4, 1, false)))
	h.w = w
	h.take(w.Start())
	for len(w.captures) < 3 {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	first, interrupted := w.captures[0], w.now.Station.Name
	h.hands = false
	out := w.Command(Command{Kind: CmdRedo, Text: strings.ToLower(first.Station)})
	if len(out) != 2 || out[0].Kind != Voided || out[0].Capture != first || first.Void == "" || w.captures[2].Void != "" {
		t.Fatalf("redo %s gives %+v", first.Station, out)
	}
	if out[1].Kind != Go || out[1].Station.Name != first.Station || out[1].Visit != logbook.VisitRedo {
		t.Errorf("then came %+v, want go %s", out[1], first.Station)
	}
	for name, code := range map[string]string{first.Station: "nothing-to-redo", "Q9": "nothing-to-redo"} {
		if out := w.Command(Command{Kind: CmdRedo, Text: name}); len(out) != 1 || out[0].Code() != code {
			t.Errorf("redo %s now gives %+v, want %s", name, out, code)
		}
	}
	h.hands = true
	before := len(h.events)
	h.take(out)
	var goes []string
	for !w.Over() && h.ts < 300 {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	for _, e := range h.events[before:] {
		if e.Kind == Go {
			goes = append(goes, e.Station.Name)
		}
	}
	if len(goes) < 2 || goes[0] != first.Station || goes[1] != interrupted {
		t.Errorf("went to %v, want %s and then %s that was interrupted", goes, first.Station, interrupted)
	}
}

func TestGotoSkipAndNote(t *testing.T) {
	w := mustNew(t, plain(hull(3, 3, true)))
	w.Start()
	out := w.Command(Command{Kind: CmdGoto, Text: "b2"})
	if len(out) != 1 || out[0].Kind != Go || out[0].Station.Name != "B2" || out[0].Visit != logbook.VisitStation {
		t.Fatalf("goto b2 gives %+v", out)
	}
	out = w.Command(Command{Kind: CmdSkip})
	if out[0].Kind != Skipped || out[0].Station.Name != "B2" || out[1].Kind != Go || out[1].Station.Name != "T" {
		t.Errorf("skip gives %+v, want B2 skipped and back to T", out)
	}
	out = w.Command(Command{Kind: CmdGoto, Text: "BB2"})
	if len(out) != 1 || out[0].Code() != "unknown-station" {
		t.Errorf("goto BB2 gives %+v", out)
	}
	if out = w.Command(Command{Kind: CmdNote, Text: "hatch rattles"}); len(out) != 1 || out[0].Text != "hatch rattles" {
		t.Errorf("note gives %+v", out)
	}
	if out = w.Command(Command{Kind: CmdStop}); len(out) != 1 || out[0].Kind != Done || out[0].Code() != CodeStopped {
		t.Errorf("stop gives %+v", out)
	}
	if out = w.Command(Command{Kind: CmdSkip}); out != nil {
		t.Errorf("after the end skip gives %+v", out)
	}
}

// Going to a station early takes one of its planned visits, not all of them.
func TestGotoKeepsTheOtherRepeats(t *testing.T) {
	w := mustNew(t, plain(hull(6, 6, true)))
	w.Start()
	repeats := func() (name string, n int) {
		for _, v := range w.queue {
			if v.Kind == logbook.VisitRepeat {
				name, n = v.Station.Name, n+1
			}
		}
		return name, n
	}
	for w.now.Kind != logbook.VisitRepeat {
		w.Command(Command{Kind: CmdSkip})
	}
	w.Command(Command{Kind: CmdSkip})
	name, before := repeats()
	if before < 2 {
		t.Fatalf("%d repeats are left, which tells nothing", before)
	}
	if out := w.Command(Command{Kind: CmdGoto, Text: name}); len(out) != 1 || out[0].Visit != logbook.VisitRepeat {
		t.Fatalf("goto %s gives %+v", name, out)
	}
	if _, after := repeats(); after != before-1 {
		t.Errorf("%d repeats are left of %d, want one less", after, before)
	}
}

func TestResumeBeginsAtTheBaseAndLeavesOutWhatIsStored(t *testing.T) {
	c := hull(4, 3, true)
	h := newHand(t, 8)
	first := mustNew(t, plain(c))
	h.w = first
	h.take(first.Start())
	for len(first.captures) < 6 {
		h.take(first.Sample(h.reading(h.at, h.turn)))
	}
	cfg := plain(c)
	for _, cp := range first.captures {
		cfg.Stored = append(cfg.Stored, *cp)
	}
	cfg.Stored[5].Void = "tried again"
	cfg.Resume = true
	h2 := newHand(t, 9)
	w := mustNew(t, cfg)
	h2.walk(w, 900)
	if !w.Over() {
		t.Fatal("not over")
	}
	var goes []string
	for _, e := range h2.events {
		if e.Kind == Go {
			goes = append(goes, e.Station.Name)
		}
	}
	if told := h2.coded(Warning, "resumed"); len(told) != 1 || told[0].Why.Values["captures"] != 5 {
		t.Errorf("told %+v", told)
	}
	if goes[0] != "T" {
		t.Errorf("taken up again at %s, want the base", goes[0])
	}
	done := map[string]bool{}
	for _, cp := range cfg.Stored[1:5] {
		done[cp.Station] = true
	}
	for _, e := range h2.events {
		if e.Kind == Go && e.Visit == logbook.VisitStation && done[e.Station.Name] {
			t.Errorf("%s is stored and was asked for again", e.Station.Name)
		}
	}
	if w.captures[6].Number != 7 {
		t.Errorf("the first new capture has number %d, want 7", w.captures[6].Number)
	}
	names := map[string]bool{}
	for _, cp := range w.captures {
		if cp.Void == "" {
			names[cp.Station] = true
		}
	}
	if len(names) != 13 {
		t.Errorf("%d places captured in all, want 12 stations and the base", len(names))
	}
}

func TestChecklistIsConfirmedItemByItem(t *testing.T) {
	cfg := plain(hull(2, 2, false))
	cfg.State, cfg.SkipChecklist = "motor", false
	w := mustNew(t, cfg)
	out := w.Start()
	last := out[len(out)-1]
	if last.Kind != Checklist || len(last.Items) < 5 || last.Items[0].Values["what"] != "hatch shut" {
		t.Fatalf("start ends with %+v", last)
	}
	if out := w.Command(Command{Kind: CmdSkip}); out[0].Code() != "confirm-first" {
		t.Errorf("skip in the checklist gives %+v", out)
	}
	n := len(last.Items)
	for i := range n - 1 {
		out := w.Command(Command{Kind: CmdCapture})
		if out[0].Kind != Checklist || len(out[0].Items) != n-1-i {
			t.Fatalf("after %d confirmed: %+v", i+1, out)
		}
	}
	out = w.Command(Command{Kind: CmdConfirm})
	if out[0].Kind != Ready || out[1].Kind != Go {
		t.Errorf("after the last item: %+v", out)
	}
	cfg.Unattended = true
	out = mustNew(t, cfg).Start()
	kinds := []Kind{}
	for _, e := range out {
		kinds = append(kinds, e.Kind)
	}
	if want := []Kind{Warning, Checklist, Ready, Go}; len(kinds) != 4 || kinds[1] != want[1] || kinds[2] != want[2] || kinds[3] != want[3] {
		t.Errorf("unattended start gives %v, want %v", kinds, want)
	}
}

func TestLinkLossThrowsTheDwellAway(t *testing.T) {
	h := newHand(t, 11)
	w := mustNew(t, plain(hull(2, 2, true)))
	h.w = w
	h.take(w.Start())
	for w.phase != dwelling {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	out := w.Link(false, h.ts)
	if len(out) != 2 || out[0].Kind != Rejected || out[0].Code() != CodeLinkLost || out[1].Kind != Paused {
		t.Fatalf("losing the link gives %+v", out)
	}
	if out := w.Command(Command{Kind: CmdCapture}); len(out) != 1 || out[0].Code() != CodeLinkLost {
		t.Errorf("capture without a link gives %+v", out)
	}
	out = w.Link(true, h.ts+30)
	if len(out) != 2 || out[0].Kind != Resumed || out[1].Kind != Go || out[1].Station.Name != "T" {
		t.Errorf("the link's return gives %+v", out)
	}
	h.ts += 30
	h.take(out)
	for !w.Over() && h.ts < 400 {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	if !w.Over() {
		t.Error("the walk did not go on")
	}
}
