//go:build linux || darwin

package live

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"quietmount/report/live/conduct"
	"quietmount/survey/craftfile"
	"quietmount/survey/logbook"
)

// few stations make a walk short.
func fewStations(text string) string {
	return strings.Replace(text, "spacing_mm = 60", "spacing_mm = 240", 1)
}

// walkState is the page's own view of the run.
func walkState(s *Server) conduct.State { return stateOf(s, "walk") }

// TestWholeWalkInABrowser walks the invented catamaran with a simulated module
// at a pseudo-terminal, on the page, by key, button and hands-free, and reads
// the run file back.
func TestWholeWalkInABrowser(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, fewStations), 50)
	page, c := walkTab(t, b, 1280, 800, false)
	second, c2 := walkTab(t, b, 360, 780, true)
	begin(t, page, "unpowered", "")
	confirmAll(t, page)
	shot(t, page, "walk-begin")

	undone := walkHandsFree(t, b, page, second)
	until(t, page, `!document.querySelector("#walk-done").hidden`, 30)
	until(t, second, `!document.querySelector("#walk-done").hidden`, 10)
	c.check(t)
	c2.check(t)
	checkWalked(t, b, undone)
}

// walkTab is a tab with the form that begins a run.
func walkTab(t testing.TB, b *testBench, width, height int64, dark bool) (context.Context, *complaints) {
	t.Helper()
	page, c := openTab(t, b, width, height, dark)
	eval[string](t, page, `location.hash = "walk"`)
	until(t, page, `document.querySelector("#w-begin")`, 20)
	return page, c
}

// begin fills the form f for a state with short captures, and as more says, and
// sends it.
func begin(t testing.TB, ctx context.Context, state, more string) {
	t.Helper()
	eval[bool](t, ctx, fmt.Sprintf(`(() => {
		const f = document.querySelector("#w-begin");
		const s = f.querySelector('[name="state"][value=%q]');
		s.checked = true;
		s.dispatchEvent(new Event("change", { bubbles: true }));
		f.elements.dwell_s.value = "1";
		f.elements.pulses.value = "4";
		f.elements.on_s.value = "1,5";
		%s
		f.requestSubmit();
		return true;
	})()`, state, more))
}

// confirmAll confirms the checklist item by item with the space key.
func confirmAll(t testing.TB, ctx context.Context) {
	t.Helper()
	until(t, ctx, `document.querySelector("#w-items .now")`, 20)
	n := eval[int](t, ctx, `document.querySelectorAll("#w-items li").length`)
	for i := range n {
		until(t, ctx, fmt.Sprintf(`document.querySelectorAll("#w-items .ok").length === %d`, i), 10)
		if err := chromedp.Do(ctx, chromedp.KeyEvent(" ")); err != nil {
			t.Fatal(err)
		}
	}
	until(t, ctx, `!document.querySelector("#w-stage").hidden && document.querySelector("#w-name").textContent`, 20)
}

// carrier carries the simulated probe to where the run asks for it. One that
// was refused there again and again, as happens on a busy machine, has to be
// lifted before it counts.
type carrier struct {
	at     string
	since  time.Time
	lifted bool
}

func (c *carrier) follow(b *testBench, w conduct.State) {
	switch spent := time.Since(c.since); {
	case w.Station+w.Visit != c.at:
		*c = carrier{at: w.Station + w.Visit, since: time.Now()}
		b.do("at " + w.Station)
	case !c.lifted && spent > 25*time.Second:
		c.since, c.lifted = time.Now(), true
		b.do("at 0 0 -400")
	case c.lifted && spent > 2*time.Second:
		c.since, c.lifted = time.Now(), false
		b.do("at " + w.Station)
	}
}

// walkHandsFree carries the probe where the page says, on the way undoing a
// capture by key, leaving a station out by button, keeping a note, pausing, and
// pulling the plug. It gives the name of the station undone.
func walkHandsFree(t *testing.T, b *testBench, page, second context.Context) (undone string) {
	t.Helper()
	did := map[string]bool{}
	at, from := "", time.Now()
	for {
		w := walkState(b.Server)
		if w.Phase == "done" {
			break
		}
		if time.Since(from) > 4*time.Minute {
			t.Fatalf("the walk is not over: %+v", w)
		}
		if w.Phase == "measuring" && w.Station+w.Visit != at {
			at = w.Station + w.Visit
			until(t, page, fmt.Sprintf("document.querySelector('#w-name').textContent === %q", w.Station), 5)
			until(t, second, fmt.Sprintf("document.querySelector('#w-name').textContent === %q", w.Station), 5)
			undone = trouble(t, b, page, w, did, undone)
			if did["skipped"] && w.Station == walkState(b.Server).Station || !did["skipped"] {
				b.do("at " + w.Station)
			} else {
				at = ""
			}
		}
		time.Sleep(30 * time.Millisecond)
	}
	for _, what := range []string{"undone", "skipped", "noted", "paused", "unplugged"} {
		if !did[what] {
			t.Errorf("the walk ended before anything was %s", what)
		}
	}
	return undone
}

// trouble does one of the things that happen on a walk, each once.
func trouble(t *testing.T, b *testBench, page context.Context, w conduct.State, did map[string]bool, undone string) string {
	t.Helper()
	once := func(what string, yes bool) bool {
		if !yes || did[what] {
			return false
		}
		did[what] = true
		return true
	}
	switch {
	case once("undone", w.Done >= 2):
		undone = w.Marks[slices.IndexFunc(w.Marks, func(m conduct.Mark) bool { return m.Captures > 0 && m.Name != w.Base })].Name
		press(t, page, "\b")
		until(t, page, fmt.Sprintf("document.querySelector('#w-name').textContent === %q", undone), 5)
		shot(t, page, "walk-undone")
	case once("skipped", w.Done >= 3 && w.Visit == "station"):
		click(t, page, `[data-command="skip"]`)
		until(t, page, fmt.Sprintf("document.querySelector('#w-name').textContent !== %q", w.Station), 5)
	case once("noted", w.Done >= 3):
		eval[bool](t, page, `(() => { document.querySelector("#w-note").value = "hatch rattles <b>"; document.querySelector("#w-noteform").requestSubmit(); return true; })()`)
		until(t, page, `[...document.querySelectorAll("#w-log li")].some(l => l.textContent.includes("hatch rattles <b>"))`, 5)
	case once("paused", w.Done >= 3):
		press(t, page, "p")
		until(t, page, `document.querySelector("#w-dial").dataset.word === "held"`, 5)
		press(t, page, "p")
		until(t, page, `document.querySelector("#w-dial").dataset.word !== "held"`, 5)
	case once("unplugged", w.Done >= 3):
		b.do("unplug")
		until(t, page, `document.querySelector("#w-dial").dataset.word === "lost"`, 15)
		shot(t, page, "walk-lost")
		b.do("plug")
		until(t, page, `document.querySelector("#w-dial").dataset.word !== "lost"`, 15)
	}
	return undone
}

func press(t testing.TB, ctx context.Context, key string) {
	t.Helper()
	if err := chromedp.Do(ctx, chromedp.KeyEvent(key)); err != nil {
		t.Fatal(err)
	}
}

// click finds its element anew where the page drew it again between the search
// and the click.
func click(t testing.TB, ctx context.Context, selector string) {
	t.Helper()
	for from := time.Now(); ; time.Sleep(50 * time.Millisecond) {
		err := chromedp.Do(ctx, chromedp.Click(chromedp.CSS(selector)))
		if err == nil {
			return
		}
		if !strings.Contains(err.Error(), "Could not find node") || time.Since(from) > 10*time.Second {
			t.Fatal(err)
		}
	}
}

// checkWalked reads the run that the page wrote.
func checkWalked(t *testing.T, b *testBench, undone string) {
	t.Helper()
	runs, err := logbook.LoadRuns(t.Context(), b.dir)
	if err != nil || len(runs) != 1 {
		t.Fatalf("%d runs, %v", len(runs), err)
	}
	r := runs[0]
	if !r.Ended || r.Header.State != "unpowered" || r.Header.Port != filepath.Join(b.dir, "port") || len(r.Header.Confirmed) == 0 {
		t.Errorf("run %+v", r.Header)
	}
	craft, err := craftfile.Load(b.dir)
	if err != nil {
		t.Fatal(err)
	}
	seen, voided := map[string]int{}, ""
	for _, c := range r.Captures {
		if c.Void != "" {
			voided = c.Station
			continue
		}
		seen[c.Station]++
	}
	if voided != undone || seen[undone] == 0 {
		t.Errorf("undone %q on the page, voided %q in the file, which counts %d there", undone, voided, seen[undone])
	}
	missing := 0
	for _, s := range craft.Stations() {
		if seen[s.Name] == 0 {
			missing++
		}
	}
	if missing > 1 || seen["T"] < 2 {
		t.Errorf("%d stations without a capture, one was left out; by station: %v", missing, seen)
	}
	var notes []string
	for _, n := range r.Notes {
		notes = append(notes, string(n.Kind)+" "+n.Text)
	}
	for _, want := range []string{"note hatch rattles <b>", "note paused", "skipped", "link", "end finished"} {
		if !slices.ContainsFunc(notes, func(n string) bool { return strings.Contains(n, want) }) {
			t.Errorf("no %q among the notes %q", want, notes)
		}
	}
}
