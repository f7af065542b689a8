//go:build linux || darwin

package live

import (
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"quietmount/report/say"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
)

// TestProofOfTheChosenSpotInABrowser proves the example's chosen spot with the
// simulated craft that the example was surveyed on: the page says what is
// promised and what is missing, the load is pulsed with the module at the spot,
// and the page says what was measured, as the folder has it. The walk is cut
// short to one capture; whether a promise is kept is tested where the machine's
// pace does not matter.
func TestProofOfTheChosenSpotInABrowser(t *testing.T) {
	t.Parallel()
	dir := surveyed(t)
	if err := os.Remove(filepath.Join(dir, logbook.RunsFolder, "0006-right-thruster.jsonl")); err != nil {
		t.Fatal(err)
	}
	b := openBenchOf(t, dir, 50, 1, 1) // the load has to follow the page closely
	page, c := openTab(t, b, 360, 780, false)
	eval[string](t, page, `location.hash = "prove"`)
	const sentence = `document.querySelector('[data-panel="prove"] .sentence')?.textContent`
	until(t, page, sentence+`?.includes('"right thruster" still to be pulsed with the module at the spot')`, 30)
	until(t, page, `!document.querySelector("#prove-form .main").disabled && document.querySelector('[data-panel="prove"] .verdict.open')`, 20)
	shot(t, page, "prove-before-phone")
	eval[bool](t, page, `(() => {
		const f = document.querySelector("#prove-form").elements;
		f.state.value = "right thruster";
		f.current_a.value = "9";
		f.pulses.value = "4";
		f.on_s.value = "1,2";
		document.querySelector("#prove-form").requestSubmit();
		return true;
	})()`)
	until(t, page, `bench.step === "walk"`, 10)
	confirmAll(t, page)
	until(t, page, `document.querySelector("#w-name").textContent === "T"`, 10)
	press(t, page, "s")
	until(t, page, `document.querySelector("#w-name").textContent === "`+evaluate.SpotStation+`"`, 10)
	b.do("at 52 -156 -20") // as the page has the chosen spot
	on := false
	for from := time.Now(); !eval[bool](t, page, `/^spot saved/.test(document.querySelector("#w-log .captured")?.textContent)`); time.Sleep(20 * time.Millisecond) {
		if time.Since(from) > time.Minute {
			t.Fatalf("nothing was captured at the spot: %+v", walkState(b.Server))
		}
		if shown := eval[string](t, page, `document.querySelector("#w-pulse").hidden ? "" : document.querySelector("#w-load").textContent`); shown == "ON" != on {
			on = !on
			b.do("load right thruster " + map[bool]string{true: "9", false: "off"}[on])
		}
	}
	click(t, page, "#w-stop")
	until(t, page, `document.querySelector("#w-stop").dataset.sure`, 5)
	click(t, page, "#w-stop")
	until(t, page, `!document.querySelector("#walk-done").hidden`, 20)
	eval[string](t, page, `location.hash = "prove"`)
	until(t, page, sentence+`?.includes("still to be pulsed") === false && document.querySelector('[data-panel="prove"] .verdict').matches(".open")`, 30)
	told := data[proveView](t, benchAt(t, dir), "prove")
	_, why, _ := strings.Cut(told.Answer.Why, ": ") // the page has the verdict as a heading of its own
	if got := eval[string](t, page, sentence); strings.TrimSuffix(got, ".") != say.Capital(why) {
		t.Errorf("the page says %q, the answer is %q", got, told.Answer.Why)
	}
	right := told.Loads[1].Measured
	if right == nil || !strings.Contains(eval[string](t, page, `document.querySelector('[data-panel="prove"]').innerText`), strconv.FormatFloat(right[1], 'f', 2, 64)) {
		t.Errorf("the page does not have what the load makes at the spot, %v uT", right)
	}
	run, err := logbook.LoadRuns(page, dir)
	if err != nil || len(run) != 6 {
		t.Fatalf("%d runs, %v", len(run), err)
	}
	if h := run[5].Header; !h.Proof || !h.Pulsed || *h.CurrentA != 9 || h.State != "right thruster" || len(run[5].Captures) != 1 || run[5].Captures[0].Station != evaluate.SpotStation {
		t.Errorf("the proof is stored as %+v", h)
	}
	shot(t, page, "prove-done-phone")
	c.check(t)
}
