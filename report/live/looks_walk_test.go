//go:build linux || darwin

package live

import (
	"context"
	"fmt"
	"testing"
)

// TestWalkLooks shows the checklist, the stage, and a pulsed dwell at the sizes
// that the page is for: name, departure, word and the main buttons are on the
// screen without scrolling, and the name is the largest text, the departure the
// next. With -artifacts the pictures stay.
func TestWalkLooks(t *testing.T) {
	t.Parallel()
	b := openBenchOf(t, catamaran(t, nil), 50, 5, brisk)
	one, _ := walkTab(t, b, 1280, 800, false)
	all := func(what, ready, check string) {
		lookAt(t, one, "walk-"+what, func(what string) {
			until(t, one, ready, 20)
			if poor := eval[string](t, one, poorContrast); poor != "" {
				t.Errorf("%s: text that is hard to read:\n%s", what, poor)
			}
			if bad := eval[string](t, one, check); bad != "" {
				t.Errorf("%s: %s", what, bad)
			}
		})
	}
	begin(t, one, "left thruster", `f.elements.hands_free.checked = false; f.elements.pulses.value = "60"`) // longer than the slowest machine needs to look at it
	until(t, one, `document.querySelectorAll("#w-items .now").length`, 20)
	press(t, one, " ")
	all("list", `document.querySelectorAll("#w-items .ok").length === 1`, onScreen(`["#w-confirm", "#w-decline"]`))
	confirmRest(t, one)
	all("stage", `document.querySelector("#w-name").textContent === "T" && document.querySelector("#w-value").textContent !== "–"`,
		onScreen(`["#w-name", "#w-value", "#w-word", "#w-capture", "#w-stop"]`)+largest)
	press(t, one, " ")
	all("off", `document.querySelector("#w-pulse") && !document.querySelector("#w-pulse").hidden && document.querySelector("#w-load").textContent === "OFF"`,
		onScreen(`["#w-load", "#w-count", "#w-beats", "#w-capture"]`))
	all("on", `document.querySelector("#w-load").textContent === "ON" && document.querySelector("#w-pulse").dataset.on === "1"`, withinPulse)
	press(t, one, "p")
	all("held", `document.querySelector("#w-dial").dataset.word === "held"`, onScreen(`["#w-alert", "#w-pause", "#w-name"]`))
}

func confirmRest(t testing.TB, ctx context.Context) {
	t.Helper()
	for range 40 {
		if eval[bool](t, ctx, `document.querySelector("#w-list").hidden`) {
			return
		}
		n := eval[int](t, ctx, `document.querySelectorAll("#w-items .ok").length`)
		press(t, ctx, " ")
		until(t, ctx, fmt.Sprintf(`document.querySelector("#w-list").hidden || document.querySelectorAll("#w-items .ok").length > %d`, n), 10)
	}
}

// onScreen says which of some elements are not wholly on the screen.
func onScreen(list string) string {
	return list + `.map(s => [s, document.querySelector(s).getBoundingClientRect()])
		.filter(([, r]) => r.width === 0 || r.top < 0 || r.left < 0 || r.bottom > innerHeight + 1 || r.right > innerWidth + 1)
		.map(([s, r]) => s + " is off the screen at " + [r.left, r.top, r.right, r.bottom].map(Math.round)).join("; ")`
}

// withinPulse says whether the beats stick out of their box, however many they
// are.
const withinPulse = `document.querySelector("#w-beats").lastElementChild.getBoundingClientRect().right > document.querySelector("#w-pulse").getBoundingClientRect().right
	? "the beats stick out of their box" : ""`

// largest says whether some other text is as large as the name, or larger than
// the departure.
const largest = ` + (() => {
	const px = s => parseFloat(getComputedStyle(document.querySelector(s)).fontSize);
	return px("#w-name") > px("#w-value") && px("#w-value") > px("#w-word") && px("#w-word") > px("#w-visit") ? "" : "the order of sizes is wrong";
})()`
