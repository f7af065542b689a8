//go:build linux || darwin

package live

import (
	"testing"
	"time"

	"quietmount/survey/logbook"
)

// TestPulsedWalkInABrowser follows the rhythm that the page shows: what it says
// is done to the simulated load, and the run holds what the load makes.
func TestPulsedWalkInABrowser(t *testing.T) {
	t.Parallel()
	b := openBenchOf(t, catamaran(t, fewStations), 50, 5, brisk)
	page, c := walkTab(t, b, 1280, 800, true)
	hear(t, page)
	eval[string](t, page, `document.querySelector("#w-begin").elements.session.value = "pulses"`)
	begin(t, page, "left thruster", `f.elements.most.value = "1"; f.elements.current_a.value = "9"`)
	confirmAll(t, page)
	var hand carrier
	on, switched := false, 0
	for from := time.Now(); walkState(b.Server).Phase != "done"; time.Sleep(40 * time.Millisecond) {
		w := walkState(b.Server)
		if time.Since(from) > 3*time.Minute {
			t.Fatalf("the walk is not over: %+v", w)
		}
		hand.follow(b, w)
		if shown := eval[string](t, page, `document.querySelector("#w-pulse")?.hidden === false ? document.querySelector("#w-load").textContent : ""`); shown == "ON" != on {
			on = !on
			switched++
			b.do("load left thruster " + map[bool]string{true: "9", false: "off"}[on])
		}
	}
	heard := eval[[]float64](t, page, "heard")
	c.check(t)
	checkPulsed(t, b, switched, heard)
}

func checkPulsed(t *testing.T, b *testBench, switched int, heard []float64) {
	t.Helper()
	runs, err := logbook.LoadRuns(t.Context(), b.dir)
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	r := runs[0]
	if h := r.Header; !h.Pulsed || *h.CurrentA != 9 || h.Rhythm == nil || h.Rhythm.Pulses != 4 || h.Rhythm.OnS != 1.5 || h.Session != "pulses" {
		t.Errorf("header %+v", h)
	}
	n := len(r.Captures)
	if n < 3 || switched < 8*n {
		t.Errorf("%d captures, %d switches seen on the page, 8 each", n, switched)
	}
	for _, c := range r.Captures {
		if len(c.Prompts) != 9 {
			t.Errorf("capture %d has %d prompts, want off and four times on and off", c.Number, len(c.Prompts))
		}
	}
	// 880 Hz says on, 440 Hz off, 1200 Hz counts down: heard as well as seen.
	if ons := count(heard, 880); ons < 4*n {
		t.Errorf("on was heard %d times in %d captures", ons, n)
	}
	if count(heard, 1200) < n {
		t.Errorf("the countdown was heard %d times", count(heard, 1200))
	}
	w := walkState(b.Server)
	seen := 0
	for _, m := range w.Marks {
		if m.ValueUT != nil && m.Captures > 0 {
			seen++
		}
	}
	if seen < 1 {
		t.Errorf("no station shows what the load makes: %+v", w.Marks)
	}
}

func count(list []float64, hertz float64) int {
	n := 0
	for _, v := range list {
		if v == hertz {
			n++
		}
	}
	return n
}
