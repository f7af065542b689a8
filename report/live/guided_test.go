//go:build linux || darwin

package live

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/arrow"
	"quietmount/report/live/conduct"
	"quietmount/survey"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
	"quietmount/survey/swing"
)

// TestCalibrationGuidedInABrowser turns a simulated probe through all directions
// while the page shows what is covered, and reads back what was stored.
func TestCalibrationGuidedInABrowser(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, nil), 50)
	page, c := openTab(t, b, 1280, 900, false)
	phone, c2 := openTab(t, b, 360, 780, true)
	for _, ctx := range []context.Context{page, phone} {
		eval[string](t, ctx, `location.hash = "calibrate"`)
		until(t, ctx, `document.querySelector("#c-begin")`, 20)
	}
	eval[bool](t, page, `(() => { const f = document.querySelector("#c-begin"); f.elements.for_s.value = "1,5"; f.requestSubmit(); return true; })()`)
	until(t, page, `document.querySelector("#c-begin .problem") && document.activeElement.id === "c-for"`, 5)

	c.expect("422")
	b.do("tumble 60")
	eval[bool](t, page, `(() => { const f = document.querySelector("#c-begin"); f.elements.for_s.value = ""; f.elements.covered_percent.value = "70"; f.requestSubmit(); return true; })()`)
	until(t, page, `!document.querySelector("#c-turn").hidden && document.querySelectorAll(".c-cell.seen").length > 10 && /tip|turn|roll/i.test(document.querySelector("#c-hint").textContent)`, 30)
	until(t, phone, `document.querySelectorAll(".c-cell.seen").length > 10`, 10)
	shot(t, page, "calibrate-turning")
	shot(t, phone, "calibrate-turning-phone-dark")
	if out := eval[int](t, phone, "document.documentElement.scrollWidth - innerWidth"); out > 0 {
		t.Errorf("the turn sticks out by %d px on a phone", out)
	}
	until(t, page, `/0001/.test(document.querySelector("#c-verdict").textContent) && !document.querySelector("#c-answer").hidden`, 90)
	until(t, page, `document.querySelector("#c-id-0001")`, 10)
	shot(t, page, "calibrate-done")
	stored, err := logbook.LoadCalibration(b.dir, "0001")
	if err != nil {
		t.Fatal(err)
	}
	if stored.SphereCovered < 0.65 || stored.Tool != "test" || stored.Probe == "" || stored.Source != b.port {
		t.Errorf("stored %+v", stored)
	}
	c.check(t)
	c2.check(t)
}

// TestCalibrationStoppedKeepsNothing stops a turn by key.
func TestCalibrationStoppedKeepsNothing(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, nil), 50)
	page, c := openTab(t, b, 1280, 900, false)
	eval[string](t, page, `location.hash = "calibrate"`)
	until(t, page, `document.querySelector("#c-begin")`, 20)
	eval[bool](t, page, `(() => { document.querySelector("#c-begin").requestSubmit(); document.activeElement.blur(); return true; })()`)
	until(t, page, `document.querySelector("#c-turn").dataset.phase === "turning"`, 20)
	press(t, page, "\x1b")
	until(t, page, `/Stopped/.test(document.querySelector("#c-verdict").textContent)`, 10)
	if ids, err := logbook.CalibrationIDs(b.dir); err != nil || len(ids) > 0 {
		t.Errorf("stored %v, %v", ids, err)
	}
	c.check(t)
}

// expect forgives what the console said of an answer that was to be a refusal.
func (c *complaints) expect(word string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.lines = slices.DeleteFunc(c.lines, func(l string) bool { return strings.Contains(l, word) })
}

// heldModule is a module held as the page asks: its field follows the stop that
// is shown, with some movement in between. It is a link.
type heldModule struct {
	bench func() *Server
	hold  func(stop string) r3.Vec
	now   func() time.Time
	from  time.Time
	n     int

	mu    sync.Mutex
	stop  string
	since time.Time
}

// stopped reports whether the hand has reached a stop and rests.
func (h *heldModule) stopped(at string) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.stop == at && h.now().Sub(h.since) > handMoves
}

// handMoves is how long the hand moves from one stop to the next, on the module's
// clock.
const handMoves = 400 * time.Millisecond

// Next is a reading, a hundred a second by its own clock.
func (h *heldModule) Next(ctx context.Context) (link.Item, error) {
	select {
	case <-ctx.Done():
		return link.Item{}, ctx.Err()
	case <-time.After(10 * time.Millisecond / hasty):
	}
	now := h.now()
	h.mu.Lock()
	defer h.mu.Unlock()
	if s := poseState(h.bench()).Station; s != h.stop {
		h.stop, h.since = s, now
	}
	h.n++
	wobble := 0.05 * math.Sin(1.7*float64(h.n))
	if now.Sub(h.since) < handMoves {
		wobble = 30 * math.Sin(0.3*float64(h.n))
	}
	b := r3.Add(h.hold(h.stop), r3.Vec{X: wobble, Y: -wobble, Z: wobble / 2})
	return link.Item{Kind: link.Reading, TS: now.Sub(h.from).Seconds(), Sample: survey.Sample{TS: now.Sub(h.from).Seconds(), B: b}}, nil
}

// Close ends nothing: it has no port.
func (h *heldModule) Close() error { return nil }

// poseState is the page's own view of an arrow check or a swing.
func poseState(s *Server) conduct.State { return stateOf(s, "pose") }

func stateOf(s *Server, topic string) conduct.State {
	var state conduct.State
	_ = json.Unmarshal(s.bench.stream.Latest(topic), &state) // nothing yet: the zero state
	return state
}

// heldBench serves a page over the folder with a module that is held as the page
// asks.
func heldBench(t *testing.T, dir string, hold func(stop string) r3.Vec) *testBench {
	t.Helper()
	l, now := localListener(t), clock(hasty)
	b := &testBench{dir: dir, host: l.Addr().String(), port: "held"}
	b.held = &heldModule{bench: func() *Server { return b.Server }, hold: hold, now: now, from: now()}
	b.Server = newBench(t, Options{Dir: dir, Hosts: []string{b.host}, Now: now, Port: b.port,
		Open: func(context.Context, string, int) (link.Source, error) {
			return b.held, nil
		},
	})
	serveUntilTheEnd(t, b.Server, l)
	return b
}

// siteUT is the reference field at the invented catamaran's site, rounded: by
// the published WMM2025 coefficients about 18.9 uT level and 45.6 uT down.
var siteUT = r3.Vec{X: 18.9, Z: 45.6}

// takeStops captures at every stop with the space key, the drawing looked at,
// and shoots the stop of the given name.
func takeStops(t *testing.T, b *testBench, page context.Context, what, picture string) (stops []string) {
	t.Helper()
	last := -1
	for from := time.Now(); ; time.Sleep(30 * time.Millisecond) {
		p := poseState(b.Server)
		switch {
		case p.Phase == "done":
			return stops
		case p.Phase == "failed" || time.Since(from) > 2*time.Minute:
			t.Fatalf("%+v after %q", p, stops)
		case p.Phase != "measuring" || p.Done == last,
			p.Total > 0 && p.Done == p.Total,                   // the last was taken, and the end is on its way
			len(stops) > 0 && p.Station == stops[len(stops)-1]: // so is the next stop
			continue
		}
		last = p.Done
		stops = append(stops, p.Station)
		until(t, page, fmt.Sprintf(`document.querySelector('.pose[data-pose=%q] .p-words').textContent.toLowerCase() === %q`, what, strings.ToLower(p.Words)+"."), 5)
		if n := eval[int](t, page, fmt.Sprintf(`document.querySelectorAll('.pose[data-pose=%q] .p-drawing .face').length`, what)); n < 2 {
			t.Errorf("%s: %d faces are drawn", p.Station, n)
		}
		if p.Station == picture {
			shot(t, page, what+"-"+picture)
		}
		atRest(t, b, page, what, p.Station)
		press(t, page, " ")
	}
}

// atRest waits until the hand has reached a stop, and the page says so.
func atRest(t *testing.T, b *testBench, page context.Context, what, stop string) {
	t.Helper()
	await(t, func() bool { return b.held.stopped(stop) })
	until(t, page, fmt.Sprintf(`document.querySelector('.pose[data-pose=%q] .p-word').textContent === bench.say("word.rest")`, what), 20)
}

// TestArrowGuidedInABrowser checks an arrow that points to the tail, by the
// space key, one sentence and one drawing at a time.
func TestArrowGuidedInABrowser(t *testing.T) {
	t.Parallel()
	backwards := func(stop string) r3.Vec {
		v, ok := arrow.PoseName(stop).In(siteUT)
		if !ok {
			v = siteUT
		}
		return r3.Vec{X: -v.X + 12, Y: -v.Y - 7, Z: v.Z + 3} // the module's own offset too
	}
	b := heldBench(t, catamaran(t, nil), backwards)
	page, c := openTab(t, b, 1280, 900, false)
	eval[string](t, page, `location.hash = "glue"`)
	until(t, page, `document.querySelector('[data-do="arrow/begin"] .main:not([disabled])')`, 20)
	eval[bool](t, page, `(() => { const f = document.querySelector('[data-do="arrow/begin"]'); f.elements.dwell_s.value = "1"; f.requestSubmit(); document.activeElement.blur(); return true; })()`)
	stops := takeStops(t, b, page, "arrow", "down")
	if want := []string{"north", "east", "south", "west", "down"}; !slices.Equal(stops, want) {
		t.Errorf("stops %q, want %q", stops, want)
	}
	until(t, page, `/not right/.test(document.querySelector('[data-panel="arrow"] .verdict')?.textContent) && /tail/.test(document.querySelector('[data-panel="arrow"]').textContent)`, 20)
	shot(t, page, "arrow-done")
	f, err := swing.Newest(b.dir, logbook.SwingArrow, 0)
	if err != nil || f == nil || !f.Ended || len(f.Valid()) != 5 || f.Header.Tool != "test" {
		t.Errorf("stored %+v, %v", f, err)
	}
	c.check(t)
}

// TestPosesOfOnesOwnWithTheSimulatedCraft ticks three poses, and holds the
// simulated craft in them with the module at a quiet place: the arrow points to
// the nose within the errors of a hand, and not within a hundredth of a degree.
func TestPosesOfOnesOwnWithTheSimulatedCraft(t *testing.T) {
	t.Parallel()
	b := openBench(t, catamaran(t, nil), 50)
	page, c := openTab(t, b, 360, 780, false)
	eval[string](t, page, `location.hash = "glue"`)
	until(t, page, `document.querySelector('[data-do="arrow/begin"] .main:not([disabled])')`, 20)
	b.do("at T")
	eval[bool](t, page, `(() => {
		for (const id of ["a-pose-east", "a-pose-down", "a-pose-right", "a-calibrated", "a-hands"]) document.querySelector("#" + id).click();
		const f = document.querySelector('[data-do="arrow/begin"]');
		f.elements.dwell_s.value = "1";
		f.requestSubmit();
		document.activeElement.blur();
		return true;
	})()`)
	for _, stop := range []string{"east", "down", "right"} {
		until(t, page, fmt.Sprintf(`document.querySelector('.pose[data-pose="arrow"] [aria-current]')?.textContent === %q`, stop), 30)
		b.do("hold " + stop)
	}
	until(t, page, `/right/.test(document.querySelector('[data-panel="arrow"] .verdict.yes')?.textContent)`, 30)
	eval[bool](t, page, `(() => { const f = document.querySelector("#a-limit"); f.value = "0,01"; f.form.requestSubmit(); return true; })()`)
	until(t, page, `document.querySelector('[data-panel="arrow"] .verdict.no') && document.querySelector("#a-limit").value === "0,01"`, 20)
	f, err := swing.Newest(b.dir, logbook.SwingArrow, 0)
	if err != nil || f == nil || !f.Ended || !slices.Equal(f.Header.Stations, []string{"east", "down", "right"}) || !f.Swing.Calibrated {
		t.Errorf("stored %+v, %v", f, err)
	}
	c.check(t)
}

// TestSwingGuidedInABrowser swings a craft whose module is twisted by 3 degrees
// clockwise (A -3) on a phone, cut short and taken up again, and looks at the
// table and the card.
func TestSwingGuidedInABrowser(t *testing.T) {
	t.Parallel()
	b := heldBench(t, catamaran(t, nil), func(stop string) r3.Vec {
		deg, err := swing.ParseHeading(stop)
		if err != nil {
			deg = 0
		}
		s, c := math.Sincos((deg + 3) * math.Pi / 180)
		return r3.Vec{X: siteUT.X * c, Y: -siteUT.X * s, Z: siteUT.Z}
	})
	page, c := openTab(t, b, 360, 780, true)
	eval[string](t, page, `location.hash = "glue"`)
	until(t, page, `document.querySelector('[data-do="swing/begin"] .main:not([disabled])')`, 20)
	eval[bool](t, page, `(() => { const f = document.querySelector('[data-do="swing/begin"]'); f.elements.headings.value = "3"; f.requestSubmit(); return true; })()`)
	until(t, page, `document.querySelector('[data-do="swing/begin"] .problem') && document.activeElement.id === "s-headings"`, 5)
	c.expect("422")
	eval[bool](t, page, `(() => { const f = document.querySelector('[data-do="swing/begin"]'); f.elements.headings.value = "6"; f.elements.dwell_s.value = "1"; f.elements.calibrated.checked = true; f.requestSubmit(); document.activeElement.blur(); return true; })()`)
	until(t, page, `document.querySelector('.pose[data-pose="swing"] .p-words').textContent`, 20)
	atRest(t, b, page, "swing", poseState(b.Server).Station)
	press(t, page, " ")
	until(t, page, `document.querySelectorAll('.pose[data-pose="swing"] .taken').length === 1`, 20)
	press(t, page, "\x1b")
	until(t, page, `document.querySelector("#swing-resume")`, 20)
	until(t, page, `!document.querySelector("#swing-resume").disabled`, 5)
	eval[bool](t, page, `(() => { document.querySelector("#swing-resume").click(); document.activeElement.blur(); return true; })()`)
	until(t, page, `!document.querySelector('.pose[data-pose="swing"]').hidden && document.querySelectorAll('.pose[data-pose="swing"] .taken').length === 1`, 20)
	stops := takeStops(t, b, page, "swing", "120")
	if len(stops) != 6 {
		t.Errorf("stops after it was taken up again: %q", stops)
	}
	until(t, page, `document.querySelectorAll('[data-panel="swing"] table')[0]?.querySelectorAll("tbody tr").length === 7 && document.querySelector('[data-panel="swing"] img').complete`, 20)
	if text := eval[string](t, page, `document.querySelector('[data-panel="swing"] .looks').textContent`); !strings.Contains(text, "twisted by 3.0 degrees clockwise") {
		t.Errorf("of a module twisted by 3 degrees: %s", text)
	}
	if out := eval[int](t, page, "document.documentElement.scrollWidth - innerWidth"); out > 0 {
		t.Errorf("the swing sticks out by %d px on a phone", out)
	}
	shot(t, page, "swing-done-phone-dark")
	c.check(t)
}
