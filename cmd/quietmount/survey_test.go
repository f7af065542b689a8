package main

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// short are flags that keep the dwell short.
var short = []string{"--dwell-s", "1"}

func TestSurveyByCommand(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := newFolder(t, smallCraft)
		p := newProbe(t, probeOptions{Field: quiet, Noise: 0.15, Seed: 1})
		s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered")...)
		var order []string
		status := s.walk(p, false, 0, func(e event) {
			if e.Event == "captured" {
				checkCapture(t, s, p, dir, e)
			}
			if e.Event != "warning" && e.Event != "rejected" {
				order = append(order, e.Event)
			}
		})
		if status != 0 {
			t.Fatalf("exit status %d\n%s%s", status, s.story(), s.stderr)
		}
		checkOrder(t, order)
		checkDone(t, s, dir, "T", "nose", "Kiel \u00df", "tail")
		must(t, dir, "verify")
	})
}

// checkCapture demands the keys of a captured event, the right field, and
// that the capture is on the disk by the time it is acknowledged.
func checkCapture(t *testing.T, s *script, p *probe, dir string, e event) {
	t.Helper()
	if e.BUT == nil || e.Samples < 10 || !(e.Uncertainty > 0) || e.Station == "" || e.Capture < 1 {
		t.Errorf("keys are missing: %+v", e)
		return
	}
	got := r3.Vec{X: e.BUT[0], Y: e.BUT[1], Z: e.BUT[2]}
	p.mu.Lock()
	at := p.at
	p.mu.Unlock()
	// Six standard uncertainties for three components of a handful of
	// captures: a miss has odds of about one in a hundred million.
	if d := r3.Norm(r3.Sub(got, p.truth(at, false))); d > 6*e.Uncertainty+0.002 {
		t.Errorf("%s: b_ut %v is %.3f uT off, stated uncertainty %.3f", e.Station, got, d, e.Uncertainty)
	}
	ready := s.of("ready")
	if len(ready) != 1 {
		t.Fatalf("%d ready events", len(ready))
	}
	if saved(t, dir, ready[0].File)[e.Capture] != e.Station {
		t.Errorf("capture %d at %s is acknowledged and not in the file", e.Capture, e.Station)
	}
}

// checkOrder demands ready first, done last, and go before captured.
func checkOrder(t *testing.T, order []string) {
	t.Helper()
	if len(order) < 4 || order[0] != "ready" || order[len(order)-1] != "done" {
		t.Fatalf("events come as %q", order)
	}
	for i, kind := range order[1 : len(order)-1] {
		want := "go"
		if i%2 == 1 {
			want = "captured"
		}
		if kind != want {
			t.Fatalf("event %d is %q, want %q: %q", i+1, kind, want, order)
		}
	}
}

func checkDone(t *testing.T, s *script, dir string, stations ...string) {
	t.Helper()
	done := s.of("done")
	if len(done) != 1 || done[0].Captures != len(s.of("captured")) || done[0].File == "" {
		t.Fatalf("done: %+v after %d captures", done, len(s.of("captured")))
	}
	have := saved(t, dir, done[0].File)
	for _, name := range stations {
		found := false
		for _, station := range have {
			found = found || station == name
		}
		if !found {
			t.Errorf("%s was never captured: %v", name, have)
		}
	}
	for _, e := range s.of("go") {
		if e.X == nil || e.Y == nil || e.Z == nil {
			t.Errorf("go without a place: %+v", e)
		}
	}
}

func TestSurveyHandsFree(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := newFolder(t, smallCraft)
		p := newProbe(t, probeOptions{Field: quiet, Noise: 0.15, Seed: 2})
		s := start(t, dir, append(short, "--port", p.path, "--state", "background", "--hands-free", "--station", "nose", "--station", "tail")...)
		s.in.Close() // hands-free needs nobody at the keyboard
		if status := s.walk(p, true, 0, nil); status != 0 {
			t.Fatalf("exit status %d\n%s%s", status, s.story(), s.stderr)
		}
		checkDone(t, s, dir, "T", "nose", "tail")
	})
}

func TestSurveyPulsed(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := newFolder(t, strings.Replace(smallCraft, "[base]\nname = \"T\"\nat_mm = [500, 0, 0]\n", "", 1))
		p := newProbe(t, probeOptions{Field: quiet, Noise: 0.15, Seed: 3})
		s := start(t, dir, "--port", p.path, "--state", "main motor", "--current-a", "5", "--pulsed",
			"--pulses", "4", "--on-s", "1.2", "--station", "tail")
		if status := s.walk(p, false, 120*time.Millisecond, nil); status != 0 {
			t.Fatalf("exit status %d\n%s%s", status, s.story(), s.stderr)
		}
		if n := len(s.of("load")); n < 2*4 {
			t.Errorf("%d load events for 4 pulses at each station\n%s", n, s.story())
		}
		for _, e := range s.of("load") {
			if e.On == nil {
				t.Fatalf("load without on: %+v", e)
			}
		}
		var m mapJSON
		ask(t, dir, &m, "map")
		for _, name := range []string{"tail"} {
			st := m.station(t, name)
			// Twice the current was measured, so twice the difference is promised.
			at := r3.Vec{X: st.X, Y: st.Y, Z: st.Z}
			want := r3.Scale(2, r3.Sub(quiet(at, true), quiet(at, false)))
			checkEstimate(t, name+" shifting", st.Shifting, st.ShiftingCov, want, 0.01)
		}
	})
}

// A script that prints the field without any noise, a slow sensor, and one
// that prints whole microteslas are all ordinary.
func TestSurveyOddStreams(t *testing.T) {
	for name, o := range map[string]probeOptions{
		"no noise":     {Field: quiet},
		"10 Hz":        {Field: quiet, Noise: 0.1, Hz: 10},
		"whole uT":     {Field: quiet, Noise: 0.3, Print: func(b r3.Vec) string { return fmt.Sprintf("%.0f,%.0f,%.0f\n", b.X, b.Y, b.Z) }},
		"whole 0.1 uT": {Field: quiet, Print: func(b r3.Vec) string { return fmt.Sprintf("x=%.1f y=%.1f z=%.1f\n", b.X, b.Y, b.Z) }},
		"json":         {Field: quiet, Noise: 0.1, Print: func(b r3.Vec) string { return fmt.Sprintf("{\"mx\":%.2f,\"my\":%.2f,\"mz\":%.2f}\n", b.X, b.Y, b.Z) }},
	} {
		bubble(t, name, func(t *testing.T) {
			dir := newFolder(t, smallCraft)
			p := newProbe(t, o)
			s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--station", "tail")...)
			if status := s.walk(p, false, 0, nil); status != 0 {
				t.Fatalf("exit status %d\n%s%s", status, s.story(), s.stderr)
			}
			checkDone(t, s, dir, "T", "tail")
			if n := len(s.of("rejected")); n > 0 {
				t.Errorf("%d captures were refused:\n%s", n, s.story())
			}
			for _, e := range s.of("captured") {
				got, want := r3.Vec{X: e.BUT[0], Y: e.BUT[1], Z: e.BUT[2]}, quiet(s.placeOf(e.Station), false)
				if d := r3.Norm(r3.Sub(got, want)); d > 6*e.Uncertainty+0.05 {
					t.Errorf("%s: %.2f uT off, stated uncertainty %.2f", e.Station, d, e.Uncertainty)
				}
			}
		})
	}
}

// placeOf is where a station was announced to be.
func (s *script) placeOf(station string) r3.Vec {
	for _, e := range s.of("go") {
		if e.Station == station {
			return place(e)
		}
	}
	return r3.Vec{X: math.NaN()}
}

func TestSurveyCommands(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := newFolder(t, smallCraft)
		p := newProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: 5})
		s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered")...)
		take := func() event {
			p.move(place(s.await("go")))
			time.Sleep(400 * time.Millisecond)
			s.send("")
			return s.captured()
		}
		take() // the base
		first := take()
		s.await("go")
		s.send("fly away")
		if w := s.await("warning"); !strings.Contains(w.Why, "no such command") {
			t.Errorf("an unknown command is answered with %q", w.Why)
		}
		s.send("note a truck went by, ü")
		s.send("redo")
		again := take()
		if again.Station != first.Station || again.Capture == first.Capture {
			t.Errorf("redo of %s, capture %d, gives %s, capture %d", first.Station, first.Capture, again.Station, again.Capture)
		}
		s.await("go")
		s.send("skip")
		s.await("go")
		s.send("goto nowhere")
		if w := s.await("warning"); !strings.Contains(w.Why, "nowhere") {
			t.Errorf("an unknown station is answered with %q", w.Why)
		}
		s.send("goto Kiel \u00df")
		if e := s.await("go"); e.Station != "Kiel \u00df" {
			t.Errorf("goto leads to %q", e.Station)
		}
		s.send("stop")
		if status := s.ended(); status != 0 {
			t.Errorf("a run that was stopped ends with status %d\n%s", status, s.stderr)
		}
		done := s.of("done")
		if len(done) != 1 || done[0].Captures != 2 {
			t.Fatalf("done says %+v, two captures count\n%s", done, s.story())
		}
		resumed(t, dir, p, first.Station)
	})
}

// resumed takes the stopped run up again and finds that what was captured is
// not asked for again.
func resumed(t *testing.T, dir string, p *probe, captured string) {
	t.Helper()
	s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--resume")...)
	if status := s.walk(p, false, 0, nil); status != 0 {
		t.Fatalf("resume: exit status %d\n%s%s", status, s.story(), s.stderr)
	}
	for _, e := range s.of("captured") {
		if e.Station == captured && e.Capture <= 4 {
			t.Errorf("%s is captured again after --resume", captured)
		}
	}
	checkSet(t, saved(t, dir, s.of("done")[0].File), "T", "nose", "Kiel \u00df", "tail")
	if again := within(t, "survey", dir, "--resume", "--state", "unpowered", "--port", p.path, "--json"); again.status != 1 || again.stderr == "" {
		t.Errorf("a finished run is resumed with status %d, %q", again.status, again.stderr)
	}
	must(t, dir, "verify")
}

func checkSet(t *testing.T, have map[int]string, want ...string) {
	t.Helper()
	for _, w := range want {
		found := false
		for _, h := range have {
			found = found || h == w
		}
		if !found {
			t.Errorf("no capture at %q: %v", w, have)
		}
	}
}

// A generator that jumps from place to place without the shaking of a hand is
// followed as well, down to differences of a few times its noise.
func TestSurveyHandsFreeWithoutAShake(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		dir := newFolder(t, smallCraft)
		slope := func(at r3.Vec, _ bool) r3.Vec {
			return r3.Add(earthUT, r3.Vec{X: at.X / 100, Y: at.Y / 30, Z: -at.X / 150})
		}
		p := newProbe(t, probeOptions{Field: slope, Noise: 0.3, Hz: 50, MoveS: 0.001, Seed: 11})
		s := start(t, dir, append(short, "--port", p.path, "--state", "background", "--hands-free", "--station", "nose", "--station", "tail")...)
		s.in.Close()
		if status := s.walk(p, true, 0, nil); status != 0 {
			t.Fatalf("exit status %d\n%s%s", status, s.story(), s.stderr)
		}
		checkDone(t, s, dir, "T", "nose", "tail")
		for _, e := range s.of("captured") {
			got := r3.Vec{X: e.BUT[0], Y: e.BUT[1], Z: e.BUT[2]}
			if d := r3.Norm(r3.Sub(got, slope(s.placeOf(e.Station), false))); d > 6*e.Uncertainty {
				t.Errorf("%s: %.2f uT off, stated uncertainty %.3f", e.Station, d, e.Uncertainty)
			}
		}
	})
}
