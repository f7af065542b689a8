package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"golang.org/x/sys/unix"
)

// A disk that fills up during a run: what is acknowledged is on it, the rest
// is said not to be.
func TestFullDisk(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		disk := t.TempDir()
		if err := unix.Mount("tmpfs", disk, "tmpfs", 0, "size=256k"); err != nil {
			t.Skipf("no small disk without the right to mount one: %v", err)
		}
		t.Cleanup(func() { _ = unix.Unmount(disk, unix.MNT_DETACH) })
		dir := filepath.Join(disk, "craft")
		write(t, filepath.Join(dir, "craft.toml"), smallCraft)
		p := newProbe(t, probeOptions{Field: quiet, Noise: 0.1, Seed: 9})
		s := start(t, dir, append(short, "--port", p.path, "--state", "unpowered")...)
		capture := func() {
			p.move(place(s.await("go")))
			time.Sleep(500 * time.Millisecond)
			s.send("")
		}
		capture()
		s.captured()
		fillDisk(t, filepath.Join(disk, "junk"))
		capture()
		w := s.await("warning")
		if !strings.Contains(w.Why, "space") || !strings.Contains(w.Why, "saved") {
			t.Errorf("a full disk is told as %q", w.Why)
		}
		have := saved(t, dir, s.of("ready")[0].File)
		if len(have) != 1 || len(s.of("captured")) != 1 {
			t.Errorf("%d captures in the file, %d acknowledged", len(have), len(s.of("captured")))
		}
		if err := os.Remove(filepath.Join(disk, "junk")); err != nil {
			t.Fatal(err)
		}
		s.send("") // tries again with the same dwell
		e := s.captured()
		if saved(t, dir, s.of("ready")[0].File)[e.Capture] != e.Station {
			t.Errorf("capture %d is acknowledged and not in the file", e.Capture)
		}
		s.send("stop")
		if status := s.ended(); status != 0 {
			t.Errorf("exit status %d\n%s%s", status, s.story(), s.stderr)
		}
		must(t, dir, "verify")
	})
}

func fillDisk(t *testing.T, name string) {
	t.Helper()
	f, err := os.Create(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for block := make([]byte, 512); ; {
		if _, err := f.Write(block); err != nil {
			return
		}
	}
}
