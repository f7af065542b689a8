//go:build linux || darwin

package main

import (
	"bufio"
	"encoding/json"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// benchPage is a running bench and a browser's part without a browser.
type benchPage struct {
	t      *testing.T
	cmd    *exec.Cmd
	in     io.WriteCloser
	said   *safeBuffer
	origin string
	client *http.Client

	mu      sync.Mutex
	walk    benchWalk
	refused int // captures so far
}

// benchWalk is what the page is told of a run.
type benchWalk struct {
	Phase     string     `json:"phase"`
	Why       string     `json:"why"`
	Finished  bool       `json:"finished"`
	Run       int        `json:"run"`
	Station   string     `json:"station"`
	Visit     string     `json:"visit"`
	At        [3]float64 `json:"at_mm"`
	Done      int        `json:"visits_done"`
	Checklist []string   `json:"checklist"`
	Confirmed int        `json:"confirmed"`
}

// openPage starts the bench and lets a browser in.
func openPage(t *testing.T, dir string, args ...string) *benchPage {
	t.Helper()
	b := &benchPage{t: t, said: &safeBuffer{}}
	b.cmd = exec.Command("quietmount", append([]string{"bench", dir, "--no-open"}, args...)...)
	b.cmd.Stdout, b.cmd.Stderr = b.said, b.said
	in, err := b.cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	b.in = in
	if err := b.cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.cmd.Process.Signal(os.Interrupt); _ = b.cmd.Wait() })
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	b.client = &http.Client{Jar: jar}
	address := b.address(1)
	b.origin = address[:strings.Index(address, "/enter")]
	resp, err := b.client.Get(address)
	if err != nil {
		t.Fatal(err)
	}
	defer resp.Body.Close()
	page, err := io.ReadAll(resp.Body)
	if err != nil || resp.StatusCode != http.StatusOK || !strings.Contains(string(page), "Walk") {
		t.Fatalf("the page: %s %v\n%s", resp.Status, err, page)
	}
	go b.follow()
	if slices.Contains(args, "--port") {
		b.linked()
	}
	return b
}

// linked waits for the module: the page is there before its port is open.
func (b *benchPage) linked() {
	b.t.Helper()
	var v struct{ State struct{ Connected bool } }
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		resp, err := b.client.Get(b.origin + "/data/link")
		if err != nil {
			b.t.Fatal(err)
		}
		err = json.NewDecoder(resp.Body).Decode(&v)
		resp.Body.Close()
		if err == nil && v.State.Connected {
			return
		}
	}
	b.t.Fatalf("no module is linked\n%s", b.said)
}

// address is the n-th address that the bench printed, counted from 1.
func (b *benchPage) address(n int) string {
	b.t.Helper()
	for range 400 {
		if all := regexp.MustCompile(`http://127\S+`).FindAllString(b.said.String(), -1); len(all) >= n {
			return all[n-1]
		}
		time.Sleep(25 * time.Millisecond)
	}
	b.t.Fatalf("no address %d:\n%s", n, b.said)
	return ""
}

// follow reads the stream of events until it ends.
func (b *benchPage) follow() {
	resp, err := b.client.Get(b.origin + "/events")
	if err != nil {
		return
	}
	defer resp.Body.Close()
	topic := ""
	lines := bufio.NewScanner(resp.Body)
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		if name, ok := strings.CutPrefix(lines.Text(), "event: "); ok {
			topic = name
		}
		if data, ok := strings.CutPrefix(lines.Text(), "data: "); ok && topic == "walk" {
			var w benchWalk
			if json.Unmarshal([]byte(data), &w) == nil {
				b.mu.Lock()
				b.walk = w
				b.mu.Unlock()
			}
		} else if ok && topic == "walk_cue" && strings.Contains(data, `"kind":"rejected"`) {
			b.mu.Lock()
			b.refused++
			b.mu.Unlock()
		}
	}
}

// post sends a form as the page's script does.
func (b *benchPage) post(path string, form url.Values) (status int, body string) {
	b.t.Helper()
	r, err := http.NewRequest(http.MethodPost, b.origin+"/do/"+path, strings.NewReader(form.Encode()))
	if err != nil {
		b.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	r.Header.Set("Origin", b.origin)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	resp, err := b.client.Do(r)
	if err != nil {
		b.t.Fatal(err)
	}
	defer resp.Body.Close()
	text, err := io.ReadAll(resp.Body)
	if err != nil {
		b.t.Fatal(err)
	}
	return resp.StatusCode, string(text)
}

func (b *benchPage) must(path string, form url.Values) {
	b.t.Helper()
	if status, body := b.post(path, form); status != http.StatusOK {
		b.t.Fatalf("%s %v: %d %s", path, form, status, body)
	}
}

// until waits for the run to be as wanted.
func (b *benchPage) until(what string, holds func(benchWalk) bool) benchWalk {
	b.t.Helper()
	var w benchWalk
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(20 * time.Millisecond) {
		b.mu.Lock()
		w = b.walk
		b.mu.Unlock()
		if holds(w) {
			return w
		}
	}
	b.t.Fatalf("still not %s: %+v\n%s", what, w, b.said)
	return w
}

// begin begins a run and confirms its checklist.
func (b *benchPage) begin(more url.Values) {
	b.t.Helper()
	form := url.Values{"state": {"unpowered"}, "dwell_s": {"1"}}
	for k, v := range more {
		form[k] = v
	}
	b.must("walk/begin", form)
	w := b.until("asking for the checklist", func(w benchWalk) bool { return w.Phase == "checklist" })
	for i := range w.Checklist {
		b.until("asking for the next item", func(w benchWalk) bool { return w.Confirmed == i })
		b.must("walk/command", url.Values{"kind": {"confirm"}})
	}
	b.until("measuring", func(w benchWalk) bool { return w.Phase == "measuring" && w.Station != "" })
}

// take carries the probe to the station asked for and captures it, again where
// a busy machine lets the probe seem to be moving still.
func (b *benchPage) take(p *probe) string {
	b.t.Helper()
	w := b.until("measuring", func(w benchWalk) bool { return w.Phase == "measuring" })
	p.move(r3.Vec{X: w.At[0], Y: w.At[1], Z: w.At[2]})
	gone := func(now benchWalk) bool {
		return now.Phase == "done" || now.Done > w.Done && (now.Station != w.Station || now.Visit != w.Visit)
	}
	for range 4 {
		time.Sleep(400 * time.Millisecond)
		before := b.refusals()
		b.must("walk/command", url.Values{"kind": {"capture"}})
		now := b.until("at the next visit, the end, or refused", func(now benchWalk) bool { return gone(now) || b.refusals() > before })
		if gone(now) {
			return w.Station
		}
	}
	b.t.Fatalf("%s is refused again and again\n%s", w.Station, b.said)
	return ""
}

func (b *benchPage) refusals() int {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.refused
}

// TestRunGoesFromPageToTerminalAndBack begins a run on the page, goes on with it
// in the terminal, and ends it on the page: one run file.
func TestRunGoesFromPageToTerminalAndBack(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	p := newTerminalProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: 21})
	b := openPage(t, dir, "--port", p.path)
	b.begin(nil)
	b.take(p)
	first := b.take(p)

	// The folder's lock is the terminal's too. A recording needs no port.
	write(t, dir+"/lines.txt", strings.Repeat("16.1,-7.2,45.3\n16.2,-7.1,45.2\n", 200))
	if r := call(t, dir, "survey", "--replay", dir+"/lines.txt", "--state", "background", "--json", "--hands-free"); r.status != 1 || !strings.Contains(r.stderr, "another process is writing") {
		t.Errorf("a second run in the folder: status %d\n%s", r.status, r.stderr)
	}
	b.must("walk/command", url.Values{"kind": {"stop"}})
	if w := b.until("stopped", func(w benchWalk) bool { return w.Phase == "done" }); w.Finished || w.Run != 1 {
		t.Errorf("stopped as %+v", w)
	}
	b.must("link/disconnect", url.Values{})

	s := startProcess(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--resume")...)
	stations := []string{first}
	for range 2 { // the base, and one station more
		p.move(place(s.await("go")))
		time.Sleep(400 * time.Millisecond)
		s.send("")
		stations = append(stations, s.captured().Station)
	}
	if stations[1] != "T" || stations[2] == first {
		t.Errorf("the terminal went to %q", stations)
	}
	s.send("stop")
	if status := s.ended(); status != 0 {
		t.Fatalf("exit status %d\n%s", status, s.stderr)
	}

	b.must("link/connect", url.Values{"port": {p.path}, "baud": {"115200"}})
	b.begin(url.Values{"resume": {"on"}})
	for b.until("going on", func(w benchWalk) bool { return w.Phase == "measuring" || w.Phase == "done" }).Phase != "done" {
		if at := b.take(p); at != "T" && slices.Contains(stations, at) && b.visit() == "station" {
			t.Errorf("%s is walked again", at)
		}
	}
	if w := b.until("over", func(w benchWalk) bool { return w.Phase == "done" }); !w.Finished || w.Run != 1 {
		t.Errorf("ended as %+v", w)
	}
	checkSet(t, saved(t, dir, dir+"/runs/0001-unpowered.jsonl"), "T", "nose", "Kiel \u00df", "tail")
	must(t, dir, "verify")
}

func (b *benchPage) visit() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.walk.Visit
}

// TestBenchEndsTheRunWhenInterrupted interrupts the bench in the middle of a
// walk: the run is stopped in order and can be taken up.
func TestBenchEndsTheRunWhenInterrupted(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	p := newTerminalProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: 22})
	b := openPage(t, dir, "--port", p.path)
	first := b.address(1)
	if _, err := io.WriteString(b.in, "\n"); err != nil {
		t.Fatal(err)
	}
	if second := b.address(2); second == first {
		t.Error("Enter prints the old address again")
	}
	b.begin(nil)
	b.take(p)
	if err := b.cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := b.cmd.Wait(); err != nil {
		t.Errorf("interrupted it ends with %v\n%s", err, b.said)
	}
	s := startProcess(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--resume")...)
	if status := s.walk(p, false, 0, nil); status != 0 {
		t.Fatalf("exit status %d\n%s%s", status, s.story(), s.stderr)
	}
	must(t, dir, "verify")
}

func TestBenchRefusesWrongCalls(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	for _, tt := range []struct {
		args   []string
		status int
		says   string
	}{
		{[]string{"--lan", "0.0.0.0"}, exitWrongCall, "every network"},
		{[]string{"--lan", "127.0.0.1"}, exitWrongCall, "this machine itself"},
		{[]string{"--lan", "example.org"}, exitWrongCall, "no IP address"},
		{[]string{"--lan", "192.0.2.7"}, exitFailed, "--lan"}, // TEST-NET-1 of RFC 5737 is nobody's
		{[]string{"--listen-port", "70000"}, exitWrongCall, "65535"},
		{[]string{"nowhere"}, exitFailed, "no folder"},
		{[]string{"--columns", "q"}, exitWrongCall, "--columns"},
	} {
		r := call(t, dir, append([]string{"bench", "--no-open"}, tt.args...)...)
		if r.status != tt.status || !strings.Contains(r.stderr, tt.says) {
			t.Errorf("bench %q: status %d\n%s", tt.args, r.status, r.stderr)
		}
	}
}
