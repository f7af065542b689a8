//go:build linux || darwin

package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// Whatever is wrong with a port or what comes from it, survey ends with 1,
// says what and names what settles it, and leaves no run behind.
func TestStreamsThatAreNoMagnetometer(t *testing.T) {
	t.Parallel()
	rng := func() *rand.Rand { return rand.New(rand.NewPCG(1, 2)) }
	junk, still, warm, n := rng(), rng(), rng(), 0
	for name, tt := range map[string]struct {
		print func(r3.Vec) string
		want  []string // any of these
	}{
		"wrong baud": {func(r3.Vec) string {
			b := make([]byte, 24)
			for i := range b {
				b[i] = byte(128 + junk.IntN(128))
			}
			return string(b)
		}, []string{"--baud"}},
		"satellite sentences": {func(r3.Vec) string {
			n++
			return fmt.Sprintf("$GPRMC,12%04d.00,A,5318.0000,N,00906.0000,W,0.0,0.0,010626,,,A*7C\r\n", n%6000)
		}, []string{"--columns", "position", "NMEA"}},
		"acceleration in g": {func(r3.Vec) string {
			return fmt.Sprintf("%.3f,%.3f,%.3f\n", 0.01+0.003*still.NormFloat64(), -0.02+0.003*still.NormFloat64(), 1+0.003*still.NormFloat64())
		}, []string{"--scale", "--columns"}},
		"nothing":    {func(r3.Vec) string { return "" }, []string{"not a byte"}},
		"one number": {func(r3.Vec) string { return fmt.Sprintf("%.1f\n", 20+warm.Float64()) }, []string{"--columns"}},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			dir := newFolder(t, smallCraft)
			p := newProbe(t, probeOptions{Field: quiet, Print: tt.print})
			s := start(t, dir, "--port", p.path, "--state", "unpowered")
			if status := s.end(); status != 1 {
				t.Errorf("exit status %d\n%s", status, s.stderr)
			}
			checkNoRun(t, dir, s.stderr.String(), tt.want)
		})
	}
}

func checkNoRun(t *testing.T, dir, message string, want []string) {
	t.Helper()
	found := false
	for _, w := range want {
		found = found || strings.Contains(message, w)
	}
	if !found {
		t.Errorf("none of %q in\n%s", want, message)
	}
	if runs, _ := filepath.Glob(filepath.Join(dir, "runs", "*")); len(runs) > 0 {
		t.Errorf("left behind: %q", runs)
	}
	t.Logf("%s", message)
}

func TestPortsThatAreNone(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	file := filepath.Join(dir, "notes.txt")
	write(t, file, "no port")
	for port, want := range map[string]string{
		filepath.Join(dir, "ttyNONE0"): "not found",
		file:                           "not a serial port",
		dir:                            "not a serial port",
		"/dev/null":                    "not a serial port",
	} {
		r := call(t, dir, "survey", "--json", "--state", "unpowered", "--port", port)
		if r.status != 1 || r.out != "" || !strings.Contains(r.stderr, port) {
			t.Errorf("%s: exit status %d, %q, %q", port, r.status, r.out, r.stderr)
		}
		checkNoRun(t, dir, r.stderr, []string{want})
	}
	data, err := os.ReadFile(file)
	if err != nil || string(data) != "no port" {
		t.Errorf("the file is now %q, %v", data, err)
	}
}

func TestTwoSurveysInOneFolder(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	p, q := newProbe(t, probeOptions{Field: quiet, Noise: 0.1}), newProbe(t, probeOptions{Field: quiet, Noise: 0.1})
	s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered")...)
	s.await("go")
	second := start(t, dir, append(short, "--port", q.path, "--state", "background")...)
	if status := second.end(); status != 1 || !strings.Contains(second.stderr.String(), "another quietmount") {
		t.Errorf("exit status %d, %s", status, second.stderr)
	}
	if r := callWith(t, dir, "capture,station,t_s,bx_ut,by_ut,bz_ut\n1,nose,0,1,2,3\n", "import", "--state", "background", "-"); r.status != 1 || !strings.Contains(r.stderr, "another quietmount") {
		t.Errorf("import during a survey: exit status %d, %s", r.status, r.stderr)
	}
	// Reading is free meanwhile.
	must(t, dir, "verify")
	s.send("stop")
	if status := s.end(); status != 0 {
		t.Errorf("exit status %d\n%s", status, s.stderr)
	}
}

// A magnet that comes near during a dwell, and one that comes and goes.
func TestMagnetDuringADwell(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	p := newProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: 7})
	s := start(t, dir, "--port", p.path, "--state", "unpowered", "--dwell-s", "2")
	p.move(place(s.await("go")))
	time.Sleep(500 * time.Millisecond)
	s.send("")
	s.captured()
	at := place(s.await("go"))
	p.move(at)
	time.Sleep(1200 * time.Millisecond)
	s.send("")
	time.Sleep(1600 * time.Millisecond)
	with := func(at r3.Vec, load bool) r3.Vec { return r3.Add(quiet(at, load), r3.Vec{X: 6, Y: -8, Z: 11}) }
	p.setField(with)
	e, ok := s.next()
	for ok && e.Event == "warning" {
		e, ok = s.next()
	}
	if e.Event != "rejected" || e.Station == "" || e.Why == "" {
		t.Fatalf("%+v follows a magnet that comes near\n%s", e, s.story())
	}
	if !strings.Contains(e.Why, "field changed") {
		t.Errorf("why: %q", e.Why)
	}
	p.setField(quiet)
	time.Sleep(1500 * time.Millisecond)
	s.send("")
	if c := s.captured(); c.Station != e.Station {
		t.Errorf("captured at %s after a refusal at %s", c.Station, e.Station)
	}
	s.send("stop")
	s.end()
}

// The board is pulled out and put back under the same name.
func TestUnplugAndReplug(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	p := newProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: 8})
	link := filepath.Join(dir, "ttyPROBE")
	if err := os.Symlink(p.path, link); err != nil {
		t.Fatal(err)
	}
	s := start(t, dir, append(short, "--port", link, "--state", "unpowered")...)
	p.move(place(s.await("go")))
	time.Sleep(500 * time.Millisecond)
	s.send("")
	s.captured()
	next := s.await("go")
	p.unplug()
	if err := os.Remove(link); err != nil {
		t.Fatal(err)
	}
	if w := s.await("warning"); !strings.Contains(w.Why, "link") {
		t.Errorf("an unplugged probe is told as %q", w.Why)
	}
	time.Sleep(time.Second)
	p.open(t)
	if err := os.Symlink(p.path, link); err != nil {
		t.Fatal(err)
	}
	if w := s.await("warning"); !strings.Contains(w.Why, "back") {
		t.Errorf("a probe plugged in again is told as %q", w.Why)
	}
	p.move(place(next))
	time.Sleep(1500 * time.Millisecond)
	s.send("")
	s.captured()
	s.send("stop")
	if status := s.end(); status != 0 {
		t.Errorf("exit status %d\n%s%s", status, s.story(), s.stderr)
	}
	must(t, dir, "verify")
}

// Killed at any moment, every capture that was acknowledged is in the file,
// the folder verifies and the run goes on.
func TestKilled(t *testing.T) {
	t.Parallel()
	times := 3
	if testing.Short() {
		times = 1
	}
	for i := range times {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			dir := newFolder(t, smallCraft)
			p := newProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: uint64(i)})
			s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--hands-free", "--station", "nose", "--station", "tail")...)
			rng := rand.New(rand.NewPCG(uint64(i), 3))
			go func() {
				time.Sleep(5*time.Second + time.Duration(rng.IntN(9000))*time.Millisecond)
				_ = s.cmd.Process.Kill()
			}()
			s.walk(p, true, 0, nil)
			ready := s.of("ready")
			if len(ready) == 0 {
				t.Fatalf("killed before it began\n%s", s.stderr)
			}
			have := saved(t, dir, ready[0].File)
			for _, e := range s.of("captured") {
				if have[e.Capture] != e.Station {
					t.Errorf("capture %d at %s was acknowledged and is lost", e.Capture, e.Station)
				}
			}
			must(t, dir, "verify")
			again := start(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--hands-free", "--resume")...)
			if status := again.walk(p, true, 0, nil); status != 0 && len(s.of("done")) == 0 {
				t.Errorf("resume: exit status %d\n%s%s", status, again.story(), again.stderr)
			}
		})
	}
}
