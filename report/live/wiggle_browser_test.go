//go:build linux || darwin

package live

import (
	"testing"
)

// TestWiggleOfALeadThatDoesNotShow goes through the three steps on the page.
func TestWiggleOfALeadThatDoesNotShow(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, fewStations), 50)
	page, c := openTab(t, b, 1280, 800, false)
	eval[string](t, page, `location.hash = "link"`)
	until(t, page, `document.querySelector('[data-do="link/wiggle"] button:enabled')`, 20)
	click(t, page, `[data-do="link/wiggle"] button`)
	until(t, page, `document.querySelector("#l-step").textContent.startsWith("1 of 3")`, 5)
	until(t, page, `document.querySelector("#l-step").textContent.startsWith("2 of 3")`, 15)
	if !b.bench.work.Busy() {
		t.Error("the probe is free for something else meanwhile")
	}
	until(t, page, `document.querySelector("#l-step").classList.contains("good")`, 20)
	await(t, func() bool { return !b.bench.work.Busy() })
	c.check(t)
}
