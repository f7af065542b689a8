package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
	"testing/synctest"
	"time"
)

// A computation that does not come back by itself, here because it reads a run
// whose bytes never end, is left at the first interrupt or SIGTERM.
func TestInterruptEndsAComputation(t *testing.T) {
	for _, signal := range []os.Signal{os.Interrupt, syscall.SIGTERM} {
		t.Run(signal.String(), func(t *testing.T) {
			t.Parallel()
			dir := copiedExample(t)
			run := filepath.Join(dir, "runs", "0999-unpowered.jsonl")
			if err := syscall.Mkfifo(run, 0o600); err != nil {
				t.Fatal(err)
			}
			var said bytes.Buffer
			cmd := exec.Command("quietmount", "rank", dir)
			cmd.Stderr = &said
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			endless, err := os.OpenFile(run, os.O_WRONLY, 0) // returns when the program reads it
			if err != nil {
				t.Fatal(err)
			}
			defer endless.Close()
			began := time.Now()
			if err := cmd.Process.Signal(signal); err != nil {
				t.Fatal(err)
			}
			err = cmd.Wait()
			if took := time.Since(began); took > time.Second {
				t.Errorf("ended after %v", took)
			}
			if e, ok := errors.AsType[*exec.ExitError](err); !ok || e.ExitCode() != exitInterrupted {
				t.Errorf("%v, want exit status %d: %s", err, exitInterrupted, &said)
			}
		})
	}
}

func copiedExample(t *testing.T) string {
	t.Helper()
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(filepath.Join("..", "..", "testdata", "example-sandpiper"))); err != nil {
		t.Fatal(err)
	}
	return dir
}

// On a terminal a long computation is shown in one line, which is gone at the
// end; elsewhere nothing is shown.
func TestLongComputationIsShown(t *testing.T) {
	for _, terminal := range []bool{true, false} {
		synctest.Test(t, func(t *testing.T) {
			var said bytes.Buffer
			v, err := computed(t.Context(), shell{Err: &said, Terminal: terminals{Err: terminal}}, "counting sheep", func(_ context.Context, far func(string)) (int, error) {
				for i := range 3 {
					far(fmt.Sprintf("%d of 3", i+1))
				}
				time.Sleep(1700 * time.Millisecond)
				return 7, nil
			})
			if v != 7 || err != nil {
				t.Errorf("%d, %v", v, err)
			}
			want := ""
			if terminal {
				for _, s := range []string{"quietmount: counting sheep, 1 s: 3 of 3", "quietmount: counting sheep, 2 s: 3 of 3", ""} {
					want += fmt.Sprintf("\r%-78s", s)
				}
				want += "\r"
			}
			if said.String() != want {
				t.Errorf("%q, want %q", &said, want)
			}
		})
	}
}

// The first interrupt ends the waiting for a computation in half a second.
func TestComputationIsLeftBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		never := make(chan int)
		defer close(never)
		time.AfterFunc(3*time.Second, cancel)
		began := time.Now()
		_, err := computed(ctx, shell{Err: io.Discard}, "waiting", func(context.Context, func(string)) (int, error) { return <-never, nil })
		if took := time.Since(began); !errors.Is(err, context.Canceled) || took > 3*time.Second+endsWithin {
			t.Errorf("%v after %v", err, took)
		}
	})
}
