//go:build linux || darwin

package live

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"quietmount/magmath/simtest"
)

// sizes are those that the page is for, and the schemes in which each is looked at:
// both at every size for the whole evidence and with -artifacts.
var sizes = []struct {
	name          string
	width, height int64
	schemes       []string
}{{"phone", 360, 780, bothSchemes}, {"laptop", 1280, 800, bothSchemes[1:]}, {"wide", 3840, 2160, bothSchemes[:1]}}

var bothSchemes = []string{"light", "dark"}

// lookAt looks at a page as it stands, at every size, light or dark. With
// -artifacts the pictures stay.
func lookAt(t *testing.T, ctx context.Context, name string, look func(what string)) {
	t.Helper()
	for _, size := range sizes {
		if err := chromedp.Do(ctx, chromedp.EmulateViewport(size.width, size.height)); err != nil {
			t.Fatal(err)
		}
		schemes := size.schemes
		if simtest.Whole() || withArtifacts() {
			schemes = bothSchemes
		}
		for _, scheme := range schemes {
			emulate(t, ctx, "prefers-color-scheme", scheme)
			look(name + ", " + size.name + ", " + scheme)
			shot(t, ctx, name+"-"+size.name+"-"+scheme)
		}
	}
}

// TestLooks opens every step of a craft of which nothing is measured: nothing
// sticks out sideways, no target is under 24 px (WCAG 2.2, success criterion
// 2.5.8), nothing on the console.
func TestLooks(t *testing.T) {
	t.Parallel()
	ctx, c := openTab(t, openBench(t, catamaran(t, nil), 50), 1280, 800, false)
	for _, step := range stepNames() {
		step = strings.ToLower(step)
		computedStep(t, ctx, step)
		lookAt(t, ctx, step, func(what string) { checkLook(t, ctx, what) })
	}
	c.check(t)
}

// TestLooksOfAnswers opens the steps that show a survey.
func TestLooksOfAnswers(t *testing.T) {
	t.Parallel()
	ctx, c := openTab(t, openBench(t, surveyed(t), 50), 1280, 800, false)
	for _, step := range []string{"describe", "room", "walk", "map", "choose", "prove", "glue"} {
		computedStep(t, ctx, step)
		lookAt(t, ctx, "answers-"+step, func(what string) {
			checkLook(t, ctx, what)
			if cut := eval[string](t, ctx, cutTables); cut != "" {
				t.Errorf("%s: tables that must be pushed sideways: %s", what, cut)
			}
		})
	}
	c.check(t)
}

// computedStep opens a step and waits until all its panels have their answers.
func computedStep(t testing.TB, ctx context.Context, step string) {
	t.Helper()
	eval[string](t, ctx, fmt.Sprintf("location.hash = %q", step))
	until(t, ctx, fmt.Sprintf("bench.step === %q && !document.querySelector('.step:not([hidden]) [aria-busy], .step:not([hidden]) .at-work')", step), 60)
}

// checkLook: a step fits the width, can be hit, and can be read.
func checkLook(t *testing.T, ctx context.Context, step string) {
	t.Helper()
	if out := eval[int](t, ctx, "document.documentElement.scrollWidth - innerWidth"); out > 0 {
		t.Errorf("%s sticks out by %d px", step, out)
	}
	if small := eval[string](t, ctx, smallTargets); small != "" {
		t.Errorf("%s: targets under 24 px: %s", step, small)
	}
	if poor := eval[string](t, ctx, poorContrast); poor != "" {
		t.Errorf("%s: text that is hard to read:\n%s", step, poor)
	}
}

// cutTables are the tables wider than the room they have, save those of plain
// numbers that scroll by their nature, which stand in a fold.
const cutTables = `[...document.querySelectorAll(".step:not([hidden]) table")].filter(e => e.getClientRects().length && e.parentElement.scrollWidth > e.parentElement.clientWidth + 1)
	.map(e => e.innerText.slice(0, 60)).join("; ")`

const smallTargets = `[...document.querySelectorAll("button, input, select, summary, .button, .tape a")].filter(e => {
	const r = e.getBoundingClientRect();
	const l = e.labels?.[0]?.getBoundingClientRect();
	return r.width > 0 && Math.max(r.height, l?.height || 0) < 24 || r.width > 0 && Math.max(r.width, l?.width || 0) < 24;
}).map(e => e.outerHTML.slice(0, 80)).join("\n")`

// poorContrast lists texts whose contrast is under 4.5, or under 3 where they
// are large (24 px, or 18.7 px bold). Source: WCAG 2.2, success criterion 1.4.3
// and the definitions of contrast ratio and relative luminance.
const poorContrast = `(() => {
	const canvas = document.createElement("canvas").getContext("2d", { willReadFrequently: true });
	const known = {};
	const rgba = (c) => known[c] ??= (canvas.clearRect(0, 0, 1, 1), canvas.fillStyle = c, canvas.fillRect(0, 0, 1, 1), [...canvas.getImageData(0, 0, 1, 1).data]);
	const light = ([r, g, b]) => [r, g, b].map(v => (v /= 255) <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4)
		.reduce((s, v, i) => s + v * [0.2126, 0.7152, 0.0722][i], 0);
	const ground = (e) => {
		for (; e; e = e.parentElement) {
			const c = rgba(getComputedStyle(e).backgroundColor);
			if (c[3] === 255) return c;
		}
		return [255, 255, 255, 255];
	};
	const poor = [];
	const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
	while (walk.nextNode()) {
		const e = walk.currentNode.parentElement;
		if (!walk.currentNode.textContent.trim() || !e.getClientRects().length || e.closest("svg, script, [data-stale], .status, .skip, option, :disabled, .tape .no")) continue;
		const s = getComputedStyle(e);
		if (s.visibility === "hidden") continue;
		const [a, b] = [light(rgba(s.color)), light(ground(e))].sort((x, y) => y - x);
		const ratio = (a + 0.05) / (b + 0.05), px = parseFloat(s.fontSize);
		const large = px >= 24 || px >= 18.7 && Number(s.fontWeight) >= 700;
		if (ratio < (large ? 3 : 4.5) - 0.005) poor.push(ratio.toFixed(2) + " " + walk.currentNode.textContent.trim().slice(0, 40));
	}
	return [...new Set(poor)].join("\\n");
})()`
