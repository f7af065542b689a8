package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// Whatever is wrong with a port or what comes from it, survey ends with 1,
// says what and names what settles it, and leaves no run behind.
func TestStreamsThatAreNoMagnetometer(t *testing.T) {
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
		bubble(t, name, func(t *testing.T) {
			dir := newFolder(t, smallCraft)
			p := newProbe(t, probeOptions{Field: quiet, Print: tt.print})
			s := start(t, dir, "--port", p.path, "--state", "unpowered")
			if status := s.ended(); status != 1 {
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
	synctest.Test(t, func(t *testing.T) {
		dir := newFolder(t, smallCraft)
		p, q := newProbe(t, probeOptions{Field: quiet, Noise: 0.1}), newProbe(t, probeOptions{Field: quiet, Noise: 0.1})
		s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered")...)
		s.await("go")
		second := start(t, dir, append(short, "--port", q.path, "--state", "background")...)
		if status := second.ended(); status != 1 || !strings.Contains(second.stderr.String(), "another process is writing") {
			t.Errorf("exit status %d, %s", status, second.stderr)
		}
		if r := callWith(t, dir, "capture,station,t_s,bx_ut,by_ut,bz_ut\n1,nose,0,1,2,3\n", "import", "--state", "background", "-"); r.status != 1 || !strings.Contains(r.stderr, "another process is writing") {
			t.Errorf("import during a survey: exit status %d, %s", r.status, r.stderr)
		}
		// Reading is free meanwhile.
		must(t, dir, "verify")
		s.send("stop")
		if status := s.ended(); status != 0 {
			t.Errorf("exit status %d\n%s", status, s.stderr)
		}
	})
}

// A magnet that comes near during a dwell, and one that comes and goes.
func TestMagnetDuringADwell(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
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
		s.ended()
	})
}
