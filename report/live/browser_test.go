//go:build linux || darwin

package live

import (
	"context"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"quietmount/survey/craftfile"
	"quietmount/survey/link"
	"quietmount/survey/sim"
)

// testBench is a bench page on a real port over a simulated module at a
// pseudo-terminal.
type testBench struct {
	*Server
	dir   string
	host  string
	port  string // of the module
	type_ chan string
	mute  *atomic.Bool // readings are lost while it is set
	held  *heldModule  // the module of heldBench
}

// at carries the simulated probe, or does what else Control.Do takes.
func (b *testBench) do(line string) { b.type_ <- line }

// hasty and brisk are how many times faster than the wall's clock a test's bench
// and its server run: a walk takes a quarter or half of its time, and that much
// less of what Chromium needs to draw it. A pulsed walk is brisk: it has to see
// each prompt on the page before the pulse is over. To the page, which goes by
// the wall's clock, no reading is ever stale then: TestReadingsThatStayAway
// keeps to real time.
const (
	hasty = 4
	brisk = 2
)

// clock is a clock that runs at speed from now on.
func clock(speed float64) func() time.Time {
	began := time.Now()
	return func() time.Time { return began.Add(time.Duration(speed * float64(time.Since(began)))) }
}

// openBench serves a page over dir until the test ends. The module sends rateHz
// readings a second.
func openBench(t testing.TB, dir string, rateHz float64) *testBench {
	t.Helper()
	return openBenchOf(t, dir, rateHz, 5, hasty)
}

// openBenchOf is openBench with the simulated craft of a seed, the example
// folder's being 1, and with the time of module and server running at speed.
func openBenchOf(t testing.TB, dir string, rateHz float64, seed uint64, speed float64) *testBench {
	t.Helper()
	b := &testBench{dir: dir, type_: make(chan string, 16), mute: new(atomic.Bool)}
	b.port = playModule(t, dir, rateHz, seed, speed, b.type_)
	l, now := localListener(t), clock(speed)
	b.host = l.Addr().String()
	b.Server = newBench(t, Options{Dir: dir, Hosts: []string{b.host}, Now: now, Port: b.port,
		Open: func(ctx context.Context, name string, baud int) (link.Source, error) {
			source, err := link.Open(ctx, link.PortOptions{Name: name, Baud: baud, Now: now})
			if err != nil {
				return nil, err
			}
			return muted{source, source.(link.Monitor), b.mute}, nil
		},
	})
	serveUntilTheEnd(t, b.Server, l)
	return b
}

// muted is a link that loses its readings while mute is set.
type muted struct {
	link.Source
	link.Monitor
	mute *atomic.Bool
}

func (m muted) Next(ctx context.Context) (link.Item, error) {
	for {
		item, err := m.Source.Next(ctx)
		if err != nil || item.Kind != link.Reading || !m.mute.Load() {
			return item, err
		}
	}
}

// playModule plays the invented catamaran's module and gives the name of its
// port.
func playModule(t testing.TB, dir string, rateHz float64, seed uint64, speed float64, lines <-chan string) string {
	t.Helper()
	world, err := sim.Sandpiper(seed)
	if err != nil {
		t.Fatal(err)
	}
	probe := sim.DefaultProbe()
	probe.RateHz = rateHz
	craft, err := craftfile.Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	port := filepath.Join(dir, "port")
	opened := make(chan struct{})
	var once sync.Once
	ctx, cancel := context.WithCancel(context.Background())
	done := make(chan error, 1)
	go func() {
		done <- sim.Serve(ctx, sim.NewBench(world, probe, sim.DefaultHand(), sim.BenchOptions{Shape: sim.ShapeLabels, Seed: seed}), sim.ServeOptions{
			Link: port, Stations: craft.Stations(), Speed: speed, Commands: lines, Opened: func(string) { once.Do(func() { close(opened) }) },
		})
	}()
	t.Cleanup(func() { cancel(); <-done })
	select {
	case <-opened:
	case err := <-done:
		t.Fatalf("the simulated module: %v", err)
	}
	return port
}

// chromium is the one browser of all tests: starting it takes five seconds of a
// processor.
var chromium sharedBrowser

type sharedBrowser struct {
	once sync.Once
	ctx  context.Context
	err  error
}

func (b *sharedBrowser) start(path string) (context.Context, error) {
	b.once.Do(func() {
		dir, err := os.MkdirTemp("", "quietmount-browser-*")
		if err != nil {
			b.err = err
			return
		}
		alloc, stop := chromedp.NewExecAllocator(context.Background(), append(chromedp.DefaultExecAllocatorOptions[:],
			chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.Flag("disable-quic", true),
			chromedp.Flag("disable-component-update", true), chromedp.Flag("autoplay-policy", "no-user-gesture-required"),
			chromedp.UserDataDir(dir))...)
		ctx, cancel := chromedp.NewContext(alloc)
		closeBrowser = func() {
			cancel()
			stop()
			if err := os.RemoveAll(dir); err != nil {
				fmt.Fprintln(os.Stderr, err)
			}
		}
		// The first call starts the browser and must have no deadline of its own.
		b.ctx, b.err = ctx, chromedp.Do(ctx, chromedp.Navigate("about:blank"))
	})
	return b.ctx, b.err
}

// browser is Chromium without a window, with cookies and stores of the test's
// own; the test is skipped where there is none.
func browser(t testing.TB) context.Context {
	t.Helper()
	if testing.Short() {
		t.Skip("a real browser takes its time: left out with -short")
	}
	name := ""
	for _, n := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if p, err := exec.LookPath(n); err == nil {
			name = p
			break
		}
	}
	if name == "" {
		t.Skip("no chromium, chromium-browser or google-chrome in PATH: the page is not tested in a browser")
	}
	all, err := chromium.start(name)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := chromedp.NewContext(all, chromedp.WithNewBrowserContext())
	t.Cleanup(cancel)
	if err := chromedp.Do(ctx, chromedp.Navigate("about:blank")); err != nil {
		t.Fatalf("the browser that the tests share opens no page; if it crashed, an earlier test shows when: %v", err)
	}
	return ctx
}

// tab opens a page of its own in the same browser and collects what its console
// complains of.
func tab(t testing.TB, ctx context.Context, address string, width, height int64, dark bool) (context.Context, *complaints) {
	t.Helper()
	ctx, cancel := chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	scheme := "light"
	if dark {
		scheme = "dark"
	}
	if err := chromedp.Do(ctx, chromedp.EmulateViewport(width, height)); err != nil {
		t.Fatal(err)
	}
	c := &complaints{}
	go func() {
		for m, err := range chromedp.Console(ctx) {
			if err != nil {
				return
			}
			c.add(m)
		}
	}()
	emulate(t, ctx, "prefers-color-scheme", scheme)
	if err := chromedp.Do(ctx, chromedp.Navigate(address)); err != nil {
		t.Fatal(err)
	}
	return ctx, c
}

// openTab is tab at a bench's own address, in the browser that the tests share. It
// opens a step that computes nothing: by itself a page opens the next one, which
// may be a whole record.
func openTab(t testing.TB, b *testBench, width, height int64, dark bool) (context.Context, *complaints) {
	t.Helper()
	return tab(t, browser(t), b.Address(b.host, time.Minute)+"#mark", width, height, dark)
}

// emulate sets a media feature of a page.
func emulate(t testing.TB, ctx context.Context, feature, value string) {
	t.Helper()
	if _, err := chromedp.Call(ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: feature, Value: value}},
	}); err != nil {
		t.Fatal(err)
	}
}

// complaints are exceptions and errors of a page's console.
type complaints struct {
	mu    sync.Mutex
	lines []string
}

func (c *complaints) add(m chromedp.ConsoleMessage) {
	if m.IsException() || m.Type == "error" || m.Type == "warning" {
		c.mu.Lock()
		defer c.mu.Unlock()
		c.lines = append(c.lines, fmt.Sprintf("%s: %s (%s:%d)", m.Type, m.Text, m.URL, m.Line))
	}
}

func (c *complaints) check(t testing.TB) {
	t.Helper()
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.lines) > 0 {
		t.Errorf("the page's console complains:\n%s", strings.Join(c.lines, "\n"))
	}
}

// until waits for a JavaScript expression to hold.
func until(t testing.TB, ctx context.Context, expression string, seconds int) {
	t.Helper()
	within, cancel := context.WithTimeout(ctx, time.Duration(seconds)*time.Second)
	defer cancel()
	for {
		yes, err := chromedp.Run(within, chromedp.Evaluate[bool]("!!("+expression+")"))
		if err == nil && yes {
			return
		}
		if within.Err() != nil {
			text, _ := chromedp.Run(ctx, chromedp.Evaluate[string]("document.querySelector('.step:not([hidden])')?.innerText ?? document.body.innerText"))
			t.Fatalf("after %d s still not: %s\n%s", seconds, expression, text)
		}
		time.Sleep(50 * time.Millisecond)
	}
}

func eval[T any](t testing.TB, ctx context.Context, expression string) T {
	t.Helper()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression))
	if err != nil {
		t.Fatalf("%s: %v", expression, err)
	}
	return v
}

// withArtifacts reports whether pictures of the page are to be kept.
func withArtifacts() bool {
	f := flag.Lookup("test.artifacts")
	return f != nil && f.Value.String() == "true"
}

// shot keeps a picture of the page with go test -artifacts, and takes none
// without: a large one costs Chromium a second or two.
func shot(t *testing.T, ctx context.Context, name string) {
	t.Helper()
	if !withArtifacts() {
		return
	}
	until(t, ctx, "[...document.images].every((i) => i.complete || i.hidden)", 10)
	b, err := chromedp.Run(ctx, chromedp.CaptureScreenshot())
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(t.ArtifactDir(), name+".png"), b, 0o600); err != nil {
		t.Fatal(err)
	}
}
