//go:build linux || darwin

package live

import (
	"context"
	"strings"
	"testing"
	"time"

	"quietmount/survey/logbook"
)

// hear keeps the first pitch of everything that the page sounds.
func hear(t testing.TB, ctx context.Context) {
	t.Helper()
	press(t, ctx, "x") // a gesture lets sound begin
	until(t, ctx, `bench.audio === "running"`, 10)
	eval[bool](t, ctx, `(() => {
		window.heard = [];
		const sound = bench.tones;
		bench.tones = (list, atOnce) => { heard.push(list[0][0]); sound(list, atOnce); };
		return true;
	})()`)
}

// TestPageSaysWhenTheServerIsGone ends the server and begins another at the same
// address.
func TestPageSaysWhenTheServerIsGone(t *testing.T) {
	chrome := browser(t)
	l := localListener(t)
	host := l.Addr().String()
	s := newBench(t, Options{Dir: catamaran(t, nil), Hosts: []string{host}})
	ctx, cancel := context.WithCancel(t.Context())
	done := make(chan error, 1)
	go func() { done <- s.Serve(ctx, l) }()
	page, _ := tab(t, chrome, s.Address(host, time.Minute), 1280, 800, false)
	until(t, page, `document.querySelector("#gone").hidden && bench.step`, 10)
	cancel()
	if err := <-done; err != nil {
		t.Fatal(err)
	}
	until(t, page, `!document.querySelector("#gone").hidden && document.querySelector("#gone").textContent.includes("Start it again")`, 15)
	shot(t, page, "gone")
}

// TestKeysSoundAndMotion: every control is reached by the tab key with a focus
// that can be seen, character keys can be switched off, sound too, and nothing
// moves for those who do not want it (WCAG 2.2, success criteria 2.1.1, 2.4.7,
// 2.1.4, and 2.3.3).
func TestKeysSoundAndMotion(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, fewStations), 50)
	page, c := walkTab(t, b, 1280, 800, false)
	reached := map[string]bool{}
	for range 60 {
		press(t, page, "\t")
		id := eval[string](t, page, `document.activeElement.id || document.activeElement.getAttribute("href") || document.activeElement.textContent.trim()`)
		if width := eval[string](t, page, `getComputedStyle(document.activeElement).outlineStyle + getComputedStyle(document.activeElement).outlineWidth`); width != "solid3px" && id != "" && eval[bool](t, page, `document.activeElement !== document.body`) {
			t.Errorf("the focus on %s shows as %s", id, width)
		}
		reached[id] = true
	}
	for _, id := range []string{"sound", "keys", "#map", "w-nose", "w-most", "w-hands", "Begin"} {
		if !reached[id] {
			t.Errorf("%s is not reached by the tab key: %v", id, reached)
		}
	}
	hear(t, page)
	begin(t, page, "unpowered", `f.elements.hands_free.checked = false`) // only a key moves on
	confirmAll(t, page)
	click(t, page, "#keys")
	station := walkState(b.Server).Station
	press(t, page, "s")
	click(t, page, "#keys")
	if now := walkState(b.Server).Station; now != station {
		t.Errorf("with the keys off s left %s out", station)
	}
	eval[bool](t, page, `(document.activeElement.blur(), true)`)
	press(t, page, "s")
	until(t, page, `document.querySelector("#w-name").textContent !== "`+station+`"`, 5)
	if said := eval[string](t, page, `document.querySelector("#status").textContent`); !strings.Contains(said, "skipped") || !strings.Contains(said, "next: ") {
		t.Errorf("a screen reader is told %q, not that a station was left out and which is next", said)
	}
	if n := count(eval[[]float64](t, page, "heard"), 523); n == 0 {
		t.Error("the base was not asked for to be heard")
	}
	emulate(t, page, "prefers-reduced-motion", "reduce")
	if moving := eval[string](t, page, `[...document.querySelectorAll("*")].filter(e => { const s = getComputedStyle(e); return s.animationName !== "none" || s.transitionDuration.split(",").some(d => parseFloat(d) > 0) && s.transitionProperty !== "none"; }).map(e => e.id || e.tagName).join()`); moving != "" {
		t.Errorf("moves although it should not: %s", moving)
	}
	c.check(t)
}

// TestNothingJumps walks on for a while: the shifts of layout that no key or
// click caused stay under 0.1, which web.dev ("Cumulative Layout Shift") calls
// good.
func TestNothingJumps(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, fewStations), 50)
	page, _ := walkTab(t, b, 1280, 800, false)
	begin(t, page, "unpowered", "")
	confirmAll(t, page)
	eval[bool](t, page, `(() => {
		window.shift = 0;
		new PerformanceObserver((list) => { for (const e of list.getEntries()) if (!e.hadRecentInput) shift += e.value; }).observe({ type: "layout-shift" });
		return true;
	})()`)
	var hand carrier
	for from := time.Now(); walkState(b.Server).Done < 4; time.Sleep(20 * time.Millisecond) {
		w := walkState(b.Server)
		if time.Since(from) > 2*time.Minute {
			t.Fatalf("the walk does not go on: %+v", w)
		}
		hand.follow(b, w)
	}
	if shift := eval[float64](t, page, "shift"); shift > 0.1 {
		t.Errorf("layout shifts add up to %.3f", shift)
	} else {
		t.Logf("layout shifts add up to %.4f", shift)
	}
}

// TestReadingsThatStayAway: the page says so while the link still stands, and
// takes it back when they come again.
func TestReadingsThatStayAway(t *testing.T) {
	t.Parallel()
	b := openBenchOf(t, catamaran(t, fewStations), 50, 5, 1)
	page, _ := walkTab(t, b, 360, 780, true)
	begin(t, page, "unpowered", "")
	confirmAll(t, page)
	const word = `document.querySelector("#w-dial").dataset.word`
	until(t, page, word+` !== "nodata" && document.querySelector("#w-value").textContent !== "–"`, 20)
	b.mute.Store(true)
	until(t, page, word+` === "nodata" && document.querySelector("#w-dial").hasAttribute("data-stale")`, 10)
	b.mute.Store(false)
	until(t, page, word+` !== "nodata" && !document.querySelector("#w-dial").hasAttribute("data-stale")`, 10)
}

// TestSavedIsHeardAfterTheDisk: by the time the tone of a capture sounds, the
// capture is in the file.
func TestSavedIsHeardAfterTheDisk(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, fewStations), 50)
	page, _ := walkTab(t, b, 1280, 800, false)
	hear(t, page)
	begin(t, page, "unpowered", "")
	confirmAll(t, page)
	var hand carrier
	seen := 0
	for from := time.Now(); seen < 3; time.Sleep(20 * time.Millisecond) {
		if time.Since(from) > 2*time.Minute {
			t.Fatalf("%d captures were heard", seen)
		}
		hand.follow(b, walkState(b.Server))
		now := count(eval[[]float64](t, page, "heard"), 660)
		if now == seen {
			continue
		}
		seen = now
		runs, err := logbook.LoadRuns(page, b.dir)
		if err != nil || len(runs) != 1 {
			t.Fatal(err)
		}
		if on := len(runs[0].Captures); seen > on {
			t.Errorf("%d captures were heard, %d are on the disk", seen, on)
		}
	}
}
