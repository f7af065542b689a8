package main

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// event is a line of `survey --json`, as a script reads it.
type event struct {
	Event       string      `json:"event"`
	Station     string      `json:"station"`
	X           *float64    `json:"x_mm"`
	Y           *float64    `json:"y_mm"`
	Z           *float64    `json:"z_mm"`
	On          *bool       `json:"on"`
	Capture     int         `json:"capture"`
	BUT         *[3]float64 `json:"b_ut"`
	Samples     int         `json:"samples"`
	Uncertainty float64     `json:"standard_uncertainty_ut"`
	Why         string      `json:"why"`
	Captures    int         `json:"captures"`
	File        string      `json:"file"`
}

// script drives a run as an outside program does: it reads events and writes
// commands.
type script struct {
	t *testing.T
	*program
	events chan event
	seen   []event
}

type safeBuffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *safeBuffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *safeBuffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// start runs `quietmount survey DIR --json ARGS...` inside the bubble of t.
func start(t *testing.T, dir string, args ...string) *script {
	t.Helper()
	return scripted(t, launch(t, append([]string{"survey", dir, "--json"}, args...)...))
}

// startProcess is start with a process.
func startProcess(t *testing.T, dir string, args ...string) *script {
	t.Helper()
	return scripted(t, launchProcess(t, append([]string{"survey", dir, "--json"}, args...)...))
}

func scripted(t *testing.T, p *program) *script {
	s := &script{t: t, program: p, events: make(chan event, 1000)}
	go s.read(p.out)
	return s
}

func (s *script) read(out io.Reader) {
	defer close(s.events)
	lines := bufio.NewScanner(out)
	for lines.Scan() {
		var e event
		if err := json.Unmarshal(lines.Bytes(), &e); err != nil {
			e = event{Event: "not JSON", Why: lines.Text()}
		}
		s.events <- e
	}
}

// patience is how long a test waits for an event; it only bounds a hang.
const patience = 40 * time.Second

// next is the next event; ok is false when the program has ended its output.
func (s *script) next() (event, bool) {
	s.t.Helper()
	select {
	case e, ok := <-s.events:
		if ok {
			s.seen = append(s.seen, e)
		}
		return e, ok
	case <-time.After(patience):
		s.t.Fatalf("no event in %v after\n%s\n%s", patience, s.story(), s.stderr)
	}
	return event{}, false
}

// await reads on until an event of the kind.
func (s *script) await(kind string) event {
	s.t.Helper()
	for {
		e, ok := s.next()
		if !ok {
			s.t.Fatalf("the run ended before %q:\n%s\n%s", kind, s.story(), s.stderr)
		}
		if e.Event == kind {
			return e
		}
	}
}

// captured reads on until the capture asked for is saved. A refusal is asked
// again: on a busy machine the probe may rightly seem to be moving still.
func (s *script) captured() event {
	s.t.Helper()
	for refused := 0; ; {
		e, ok := s.next()
		switch {
		case !ok:
			s.t.Fatalf("the run ended before a capture:\n%s\n%s", s.story(), s.stderr)
		case e.Event == "captured":
			return e
		case e.Event == "rejected":
			if refused++; refused > 3 {
				s.t.Fatalf("refused %d times:\n%s", refused, s.story())
			}
			time.Sleep(500 * time.Millisecond)
			s.send("")
		}
	}
}

func (s *script) send(line string) {
	if _, err := io.WriteString(s.in, line+"\n"); err != nil {
		s.t.Logf("send %q: %v", line, err)
	}
}

// ended waits for the program and gives its exit status.
func (s *script) ended() int {
	s.t.Helper()
	for {
		if _, ok := s.next(); !ok {
			break
		}
	}
	status, err := s.end()
	if _, ok := errors.AsType[*exec.ExitError](err); err != nil && !ok {
		s.t.Fatal(err)
	}
	return status
}

// story is what has been seen so far, for messages.
func (s *script) story() string {
	var b strings.Builder
	for _, e := range s.seen {
		fmt.Fprintf(&b, "  %-9s %-8s capture %d captures %d %s\n", e.Event, e.Station, e.Capture, e.Captures, e.Why)
	}
	return b.String()
}

func (s *script) of(kind string) []event {
	var out []event
	for _, e := range s.seen {
		if e.Event == kind {
			out = append(out, e)
		}
	}
	return out
}

// walk moves the probe to each announced station and captures by command, or
// only moves where handsFree; the load follows the prompts after lag. Each
// event is shown to also.
func (s *script) walk(p *probe, handsFree bool, lag time.Duration, also func(event)) int {
	s.t.Helper()
	for {
		e, ok := s.next()
		if !ok {
			return s.ended()
		}
		switch e.Event {
		case "go":
			p.move(place(e))
			if !handsFree {
				time.Sleep(time.Duration((p.moveS + 0.1) * float64(time.Second)))
				s.send("")
			}
		case "load":
			on := *e.On
			time.AfterFunc(lag, func() { p.turn(on) })
		case "rejected":
			if !handsFree {
				time.AfterFunc(300*time.Millisecond, func() { s.send("") })
			}
		}
		if also != nil {
			also(e)
		}
	}
}

func place(e event) r3.Vec {
	if e.X == nil || e.Y == nil || e.Z == nil {
		return r3.Vec{X: 1e4}
	}
	return r3.Vec{X: *e.X, Y: *e.Y, Z: *e.Z}
}

// smallCraft is an invented craft of three marks and a base.
const smallCraft = `name = "Testling"   # invented
[site]
latitude_deg = 53.3
longitude_deg = -9.1
date = "2026-06-01"
[module]
name = "puck"
mass_g = 20
range_ut = 800
cable_mm = 400
footprint_mm = [20, 20]
sensor_height_mm = 6
axes = ["+x", "+y", "+z"]
[craft]
outline_mm = [[120, 60], [-120, 60], [-120, -60], [120, -60]]
surface_z_mm = 0
[[station]]
name = "nose"
at_mm = [80, 0, 0]
[[station]]
name = "Kiel \u00df"
at_mm = [0, 30, 0]
[[station]]
name = "tail"
at_mm = [-80, -20, -5]
[base]
name = "T"
at_mm = [500, 0, 0]
[[load]]
name = "main motor"
kind = "current"
max_current_a = 10
[cable]
from_mm = [0, 0]
[limits]
heading_error_deg = 5
steady_ut = 100
`

func newFolder(t *testing.T, craft string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "my craft")
	write(t, filepath.Join(dir, "craft.toml"), craft)
	return dir
}

// earthUT is an invented uniform field, near that of the craft's site.
var earthUT = r3.Vec{X: 17.9, Y: 3.1, Z: 45.8}

// quiet is the field of a small magnet in a uniform field; the load is
// another, that comes and goes.
func quiet(at r3.Vec, load bool) r3.Vec {
	sensor := r3.Add(at, r3.Vec{Z: -6})
	b := r3.Add(earthUT, dipoleUT(r3.Vec{X: 0.02, Z: 0.03}, r3.Vec{X: 60, Y: 40, Z: 50}, sensor))
	if load {
		b = r3.Add(b, dipoleUT(r3.Vec{Y: 0.01}, r3.Vec{X: -60, Z: 40}, sensor))
	}
	return b
}

// saved reads the capture numbers in a run file as any reader of JSON Lines
// would.
func saved(t *testing.T, dir, file string) map[int]string {
	t.Helper()
	if !filepath.IsAbs(file) {
		if _, err := os.Stat(file); err != nil {
			file = filepath.Join(dir, file)
		}
	}
	data, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	out := map[int]string{}
	for line := range strings.Lines(string(data)) {
		var l struct {
			Kind    string `json:"kind"`
			Number  int    `json:"capture"`
			Station string `json:"station"`
		}
		if json.Unmarshal([]byte(line), &l) == nil && l.Kind == "capture" {
			out[l.Number] = l.Station
		}
	}
	return out
}
