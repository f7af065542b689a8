//go:build linux || darwin

package main

import (
	"encoding/json"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// The module that demo --serve plays can be listened to and surveyed hands-free.
func TestServedModule(t *testing.T) {
	t.Parallel()
	if testing.Short() {
		t.Skip("takes half a minute")
	}
	dir := t.TempDir()
	cmd := exec.Command("quietmount", "demo", "--serve", "--out", "served", "--seed", "4")
	cmd.Dir = dir
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	said := &safeBuffer{}
	cmd.Stdout, cmd.Stderr = said, said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = cmd.Process.Signal(os.Interrupt); _ = cmd.Wait() })
	port := filepath.Join(dir, "served", "port")
	awaitFile(t, port, said)
	r := call(t, dir, "listen", "served", "--port", port, "--for-s", "3", "--json")
	var a struct {
		Rate      float64 `json:"rate_hz"`
		Magnitude float64 `json:"magnitude_ut"`
	}
	if err := json.Unmarshal([]byte(r.out), &a); err != nil || a.Rate < 5 || a.Magnitude < 20 || a.Magnitude > 100 {
		t.Fatalf("exit status %d, %v\n%s%s", r.status, err, r.out, r.stderr)
	}
	s := startProcess(t, filepath.Join(dir, "served"), append(short, "--port", port, "--state", "unpowered", "--hands-free", "--station", "D1", "--station", "mast")...)
	for {
		e, ok := s.next()
		if !ok {
			break
		}
		if e.Event == "go" {
			time.Sleep(200 * time.Millisecond)
			if _, err := io.WriteString(in, "at "+e.Station+"\n"); err != nil {
				t.Fatal(err)
			}
		}
	}
	if status := s.ended(); status != 0 {
		t.Fatalf("exit status %d\n%s%s\n%s", status, s.story(), s.stderr, said)
	}
	checkDone(t, s, filepath.Join(dir, "served"), "T", "D1", "mast")
}

func awaitFile(t *testing.T, name string, said *safeBuffer) {
	t.Helper()
	for range 200 {
		if _, err := os.Lstat(name); err == nil {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%s does not appear\n%s", name, said)
}
