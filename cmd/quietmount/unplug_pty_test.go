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

	"quietmount/magmath/simtest"
)

// The board is pulled out and put back under the same name.
func TestUnplugAndReplug(t *testing.T) {
	t.Parallel()
	dir := newFolder(t, smallCraft)
	p := newTerminalProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: 8})
	link := filepath.Join(dir, "ttyPROBE")
	if err := os.Symlink(p.path, link); err != nil {
		t.Fatal(err)
	}
	s := startProcess(t, dir, append(short, "--port", link, "--state", "unpowered")...)
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
	p.plug(t)
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
	if status := s.ended(); status != 0 {
		t.Errorf("exit status %d\n%s%s", status, s.story(), s.stderr)
	}
	must(t, dir, "verify")
}

// Killed at any moment, every capture that was acknowledged is in the file,
// the folder verifies and the run goes on.
func TestKilled(t *testing.T) {
	t.Parallel()
	for i := range simtest.Trials(1, 3) {
		t.Run(fmt.Sprint(i), func(t *testing.T) {
			t.Parallel()
			dir := newFolder(t, smallCraft)
			p := newTerminalProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: uint64(i)})
			s := startProcess(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--hands-free", "--station", "nose", "--station", "tail")...)
			rng := rand.New(rand.NewPCG(uint64(i), 3))
			go func() {
				time.Sleep(5*time.Second + time.Duration(rng.IntN(9000))*time.Millisecond)
				s.kill()
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
			again := startProcess(t, dir, append(short, "--port", p.path, "--state", "unpowered", "--hands-free", "--resume")...)
			if status := again.walk(p, true, 0, nil); status != 0 && len(s.of("done")) == 0 {
				t.Errorf("resume: exit status %d\n%s%s", status, again.story(), again.stderr)
			}
		})
	}
}
