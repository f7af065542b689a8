//go:build linux || darwin

package live

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/chromedp"

	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// countShifts adds up how much the page moved by itself so far (the layout instability
// score, of which the web's own measure calls up to 0.1 good).
const countShifts = `(() => {
	window.moved = 0;
	window.movers = [];
	new PerformanceObserver((l) => {
		for (const e of l.getEntries()) {
			if (e.hadRecentInput) continue;
			window.moved += e.value;
			for (const { node, previousRect: a, currentRect: b } of e.sources)
				window.movers.push(e.value.toFixed(3) + " " + (node?.id || node?.className || node?.nodeName) + " y " + a.y + " to " + b.y + ", height " + a.height + " to " + b.height);
		}
	}).observe({ type: "layout-shift", buffered: true });
	return true;
})()`

// drag presses the mouse in the middle of an element, moves it and lets go.
func drag(t testing.TB, ctx context.Context, element string, dx, dy float64) {
	t.Helper()
	at := eval[[]float64](t, ctx, fmt.Sprintf("(() => { const e = document.querySelector(%q); e.scrollIntoView({block: 'center', behavior: 'instant'}); const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()", element))
	if hit := eval[string](t, ctx, fmt.Sprintf("(() => { const e = document.elementFromPoint(%g, %g); return e ? e.outerHTML.slice(0, 120) : ''; })()", at[0], at[1])); !eval[bool](t, ctx, fmt.Sprintf("document.elementFromPoint(%g, %g)?.closest('.q-grip') === document.querySelector(%q).closest('.q-grip')", at[0], at[1], element)) {
		t.Errorf("%s is covered by %s", element, hit)
	}
	for _, m := range []struct {
		kind  input.DispatchMouseEventType
		share float64
	}{{"mousePressed", 0}, {"mouseMoved", 0.5}, {"mouseMoved", 1}, {"mouseReleased", 1}} {
		if err := chromedp.Do(ctx, chromedp.MouseEvent(m.kind, at[0]+m.share*dx, at[1]+m.share*dy, chromedp.ButtonLeft)); err != nil {
			t.Fatal(err)
		}
	}
}

// TestAnswersInABrowser reads the map by mouse, keys and form, tries a change by
// dragging, takes it back, and chooses a spot.
func TestAnswersInABrowser(t *testing.T) {
	t.Parallel()
	dir := surveyed(t)
	if err := os.Remove(filepath.Join(dir, logbook.ChoiceFile)); err != nil {
		t.Fatal(err)
	}
	b := openBench(t, dir, 50)
	page, c := openTab(t, b, 1280, 900, false)
	eval[bool](t, page, countShifts)
	computedStep(t, page, "map")
	t.Run("map", func(t *testing.T) { readMap(t, page) })
	t.Run("whatif", func(t *testing.T) { tryByHand(t, page) })
	t.Run("choose", func(t *testing.T) {
		computedStep(t, page, "choose")
		eval[bool](t, page, `document.querySelector("#choose-2").click() || true`)
		until(t, page, `/Chosen: x/.test(document.querySelector("#status").textContent) && document.querySelector(".c-spot.is #choose-2")`, 40)
		if choice, err := logbook.LoadChoice(dir); err != nil || choice.Spot.Rank != 2 {
			t.Errorf("%+v, %v", choice, err)
		}
	})
	c.check(t) // what is refused below, the browser notes on its console too
	computedStep(t, page, "map")
	until(t, page, `document.querySelector("#q-form") && !document.querySelector("#q-form").dataset.old`, 20)
	refused := `document.activeElement.id === "q-diameter" && document.activeElement.getAttribute("aria-invalid") && /Diameter/.test(document.querySelector("#q-form .problem").textContent)`
	until(t, page, `!document.querySelector('[data-panel="whatif"]').hasAttribute("aria-busy")`, 20)
	eval[bool](t, page, `(() => { const f = document.querySelector("#q-form"); f.elements.kind.value = "magnet"; f.elements.diameter_mm.value = "-3"; f.dispatchEvent(new Event("input", {bubbles: true})); f.requestSubmit(); return true; })()`)
	until(t, page, refused, 20)
	// What goes on in the folder draws nothing over while the field is in use.
	eval[bool](t, page, `(() => {
		window.form = document.querySelector("#q-form");
		for (const e of document.querySelectorAll(".step:not([hidden]) [data-panel]")) if (e.dataset.panel !== "whatif") e.setAttribute("aria-busy", "true");
		bench.refresh(false);
		return true;
	})()`)
	until(t, page, `!document.querySelector(".step:not([hidden]) [aria-busy]")`, 20)
	if !eval[bool](t, page, `window.form === document.querySelector("#q-form") && !!(`+refused+`)`) {
		t.Error("the form was drawn over while somebody stood in it")
	}
}

func readMap(t *testing.T, page context.Context) {
	until(t, page, `document.querySelector("#m-chart img").complete && document.querySelector("#m-chart img").naturalWidth`, 20)
	if moved := eval[float64](t, page, "window.moved"); moved > 0.1 {
		t.Errorf("the page moved by %.2f while it was filled:\n%s", moved, eval[string](t, page, `window.movers.join("\n")`))
	}
	eval[bool](t, page, `fetch(document.querySelector("#m-chart").dataset.values).then((r) => r.json()).then((v) => { window.seen = v.stations.find((s) => s.heading_error_deg !== null); }) && true`)
	until(t, page, "window.seen", 10)
	name := eval[string](t, page, `(() => {
		const f = document.querySelector("#m-form");
		f.elements.x_mm.value = String(window.seen.x_mm) + ",0";
		f.elements.y_mm.value = window.seen.y_mm;
		f.requestSubmit();
		return window.seen.name;
	})()`)
	until(t, page, fmt.Sprintf(`document.querySelector("#m-st-name").textContent.endsWith(%q) && /\d° \(below/.test(document.querySelector("#m-st").textContent)`, name), 10)
	until(t, page, `/\d° \(below \d/.test(document.querySelector("#m-deg").textContent) && /µT/.test(document.querySelector("#m-ut").textContent)`, 5)
	until(t, page, `/^x -?\d+, y -?\d+ mm/.test(document.querySelector("#m-live").textContent)`, 5)
	before := eval[string](t, page, `document.querySelector("#m-place").textContent`)
	eval[bool](t, page, `(() => { const e = document.querySelector("#m-chart"); e.focus(); for (const key of ["ArrowUp", "ArrowLeft"]) e.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true})); return true; })()`)
	until(t, page, fmt.Sprintf(`(([ax, ay], [bx, by]) => bx - ax === 10 && by - ay === -10)(...[%q, document.querySelector("#m-place").textContent].map((t) => t.match(/-?\d+/g).map(Number))) && !document.querySelector("#m-tip").hidden`, before), 5)
	shot(t, page, "map-read")
	eval[bool](t, page, `document.querySelector("#m-chart").dispatchEvent(new KeyboardEvent("keydown", {key: "Escape", bubbles: true}))`)
	until(t, page, `document.querySelector("#m-tip").hidden`, 5)
	eval[bool](t, page, `(() => { const s = document.querySelector("#map-part"); s.value = "steady"; s.dispatchEvent(new Event("change", {bubbles: true})); return true; })()`)
	until(t, page, `document.querySelector("#map-part")?.value === "steady" && !document.querySelector('[data-panel="map"] .at-work') && /part=steady/.test(document.querySelector("#m-chart").dataset.values)`, 40)
}

func tryByHand(t *testing.T, page context.Context) {
	part := `[data-part="hatch magnet"] .hit`
	drag(t, page, part, 30, 60)
	until(t, page, `/hatch magnet moved to x -?\d/.test(document.querySelector(".q-changes")?.textContent)`, 20)
	until(t, page, `document.querySelectorAll(".q-way").length === 1 && Math.abs(document.querySelector('[data-part="hatch magnet"]').dataset.y - -document.querySelector("#q-x").value) < 0.01`, 5)
	if kind := eval[string](t, page, `document.querySelector("#q-kind").value + " " + document.querySelector("#q-which").value`); kind != "move hatch magnet" {
		t.Errorf("the form says %q", kind)
	}
	until(t, page, `document.querySelector(".q-maps img") && document.querySelector(".q-pairs")`, 60)
	shot(t, page, "whatif-dragged")
	eval[bool](t, page, `(() => { const e = document.querySelector('[data-part="battery"]'); e.focus(); for (const key of ["ArrowUp", "ArrowUp", "Enter"]) e.dispatchEvent(new KeyboardEvent("keydown", {key, bubbles: true})); return true; })()`)
	until(t, page, `/battery moved to x 80, y 0/.test(document.querySelector(".q-changes")?.textContent) && document.querySelectorAll(".q-changes li").length === 2`, 20)
	eval[bool](t, page, `document.querySelector("#q-clear").click() || true`)
	until(t, page, `!document.querySelector(".q-changes")`, 20)
	eval[string](t, page, `document.querySelector("#q-form").dataset.old = "1"`)
}

// TestDescriptionFollowsTheFile breaks and mends the craft file while its page
// is open.
func TestDescriptionFollowsTheFile(t *testing.T) {
	t.Parallel()
	dir := catamaran(t, nil)
	b := openBench(t, dir, 50)
	page, c := openTab(t, b, 1280, 900, false)
	computedStep(t, page, "describe")
	name := filepath.Join(dir, craftfile.Name)
	sound, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	eval[bool](t, page, `window.same = true`)
	if err := os.WriteFile(name, append(sound, "\nwings = 2\n"...), 0o600); err != nil {
		t.Fatal(err)
	}
	until(t, page, `document.querySelector(".toml .faulty mark") && document.querySelector(".d-drawing img") && window.same`, 20)
	eval[bool](t, page, `document.querySelector("[data-line]").click() || true`)
	until(t, page, `document.querySelector(".toml .here.faulty") && document.activeElement.id === "toml"`, 5)
	shot(t, page, "describe-broken")
	if err := os.WriteFile(name, sound, 0o600); err != nil {
		t.Fatal(err)
	}
	until(t, page, `!document.querySelector(".toml .faulty") && window.same`, 20)
	c.check(t)
}
