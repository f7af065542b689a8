package guide

import "testing"

func TestHoldThrowsTheDwellAwayAndWaits(t *testing.T) {
	h := newHand(t, 12)
	h.hands = false
	cfg := plain(hull(2, 2, true))
	cfg.HandsFree = true
	w := mustNew(t, cfg)
	h.w = w
	h.take(w.Start())
	for w.phase != dwelling {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	h.take(w.Sample(h.reading(h.at, h.turn)))
	out := w.Command(Command{Kind: CmdPause})
	if len(out) != 1 || out[0].Kind != Paused || out[0].Code() != CodeHeld || !w.NeedsCommands() {
		t.Fatalf("pause gives %+v", out)
	}
	if again := w.Command(Command{Kind: CmdPause}); again != nil {
		t.Errorf("a second pause gives %+v", again)
	}
	before := h.count(Captured)
	for range 1000 { // 40 s at rest
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	if n := h.count(Captured) - before; n != 0 {
		t.Errorf("%d captures during the hold", n)
	}
	out = w.Command(Command{Kind: CmdGoOn})
	if len(out) != 2 || out[0].Kind != Resumed || out[0].Code() != CodeGoesOn || out[1].Kind != Go || out[1].Station.Name != "T" {
		t.Fatalf("going on gives %+v", out)
	}
	h.take(out)
	for !w.Over() && h.ts < 400 {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	if !w.Over() {
		t.Error("the walk did not go on")
	}
}

func TestHoldSwitchesTheLoadOffAndCaptureGoesOn(t *testing.T) {
	h := newHand(t, 13)
	cfg := plain(hull(2, 2, true))
	cfg.State, cfg.Pulsed, cfg.HandsFree = "motor", true, true
	w := mustNew(t, cfg)
	h.w, h.hands = w, false
	h.take(w.Start())
	for !w.dwell.loadOn {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
	out := w.Command(Command{Kind: CmdPause})
	if len(out) != 2 || out[0].Kind != Switch || out[0].On || out[1].Kind != Paused {
		t.Fatalf("pause while the load is on gives %+v", out)
	}
	// The link may go and come back meanwhile; the walk is still held.
	w.Link(false, h.ts)
	if out = w.Link(true, h.ts+5); len(out) != 1 || out[0].Kind != Resumed || !w.held {
		t.Errorf("the link's return gives %+v", out)
	}
	if out = w.Command(Command{Kind: CmdCapture}); len(out) != 2 || out[1].Kind != Go || w.Busy() {
		t.Errorf("a capture asked for while held gives %+v", out)
	}
	w.Command(Command{Kind: CmdPause})
	if out = w.Command(Command{Kind: CmdSkip}); w.held || out[0].Kind != Skipped {
		t.Errorf("skip while held gives %+v", out)
	}
}
