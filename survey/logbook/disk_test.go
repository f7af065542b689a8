package logbook_test

import (
	"errors"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"quietmount/survey"
	"quietmount/survey/csvfile"
	"quietmount/survey/disk"
	"quietmount/survey/logbook"
	"quietmount/survey/logbook/logbooktest"
)

func containsAll(s string, parts ...string) bool {
	for _, p := range parts {
		if !strings.Contains(s, p) {
			return false
		}
	}
	return true
}

// faultyFile is a file on a disk with room for so many bytes, whose other
// calls fail while their flags are set.
type faultyFile struct {
	*os.File
	room             int
	syncErr, cutErr  error
	shortWithoutWord bool
}

func (f *faultyFile) Write(b []byte) (int, error) {
	if len(b) <= f.room {
		f.room -= len(b)
		return f.File.Write(b)
	}
	n, err := f.File.Write(b[:f.room])
	f.room = 0
	if err == nil && !f.shortWithoutWord {
		err = &os.PathError{Op: "write", Path: f.Name(), Err: syscall.ENOSPC}
	}
	return n, err
}

func (f *faultyFile) Truncate(size int64) error {
	if f.cutErr != nil {
		return f.cutErr
	}
	return f.File.Truncate(size)
}

func (f *faultyFile) Sync() error {
	if f.syncErr != nil {
		return f.syncErr
	}
	return f.File.Sync()
}

// faultyWriter is a run with two captures whose disk is about to fail.
func faultyWriter(t *testing.T) (*logbook.RunWriter, *faultyFile) {
	t.Helper()
	w := logbooktest.Create(t, logbooktest.Folder(t), logbooktest.Header(survey.StateUnpowered))
	logbooktest.Append(t, w, 2)
	f := &faultyFile{File: w.Disk().(*os.File)}
	w.SetDisk(f)
	return w, f
}

func numbersOf(r *logbook.Run) (out []int) {
	for _, c := range r.Captures {
		out = append(out, c.Number)
	}
	return out
}

// A line longer than a reader takes must not be acknowledged: it would make the
// whole run unreadable.
func TestALineThatCannotBeReadBackIsRefused(t *testing.T) {
	w, f := faultyWriter(t)
	f.room = 2 * logbook.MaxRunLine
	c := logbooktest.Capture(rand.New(rand.NewPCG(2, 2)), 9, 8, 0)
	c.Station = strings.Repeat("x", logbook.MaxRunLine)
	if err := w.Append(c); err == nil || !strings.Contains(err.Error(), "at most 64 are read back") {
		t.Errorf("got %v, want a refusal", err)
	}
	c.Station = "B2"
	if err := w.Append(c); err != nil {
		t.Errorf("the next capture: %v", err)
	}
	logbooktest.ReadBack(t, w.File())
}

func TestFullDisk(t *testing.T) {
	c := logbooktest.Capture(rand.New(rand.NewPCG(2, 2)), 3, 8, 0)
	for _, room := range []int{0, 1, 50, 300} {
		w, f := faultyWriter(t)
		before, _ := os.ReadFile(w.File())
		f.room = room
		for range 2 {
			err := w.Append(c)
			if !errors.Is(err, disk.ErrFull) || !containsAll(err.Error(), "capture 3", w.File(), "nothing that was acknowledged is lost") {
				t.Fatalf("room %d: %v", room, err)
			}
		}
		if after, _ := os.ReadFile(w.File()); string(after) != string(before) {
			t.Errorf("room %d: the file has changed", room)
		}
		f.room = 1 << 20
		if err := w.Append(c); err != nil {
			t.Errorf("room again: %v", err)
		}
		if run := logbooktest.ReadBack(t, w.File()); len(run.Captures) != 3 || len(run.Warnings) != 0 {
			t.Errorf("captures %v, warnings %v", numbersOf(run), run.Warnings)
		}
	}
}

func TestOtherFaults(t *testing.T) {
	c := logbooktest.Capture(rand.New(rand.NewPCG(2, 2)), 3, 8, 0)
	t.Run("short write without a word", func(t *testing.T) {
		w, f := faultyWriter(t)
		f.room, f.shortWithoutWord = 40, true
		if err := w.Append(c); !errors.Is(err, io.ErrShortWrite) {
			t.Error(err)
		}
		if run := logbooktest.ReadBack(t, w.File()); len(run.Captures) != 2 || len(run.Warnings) != 0 {
			t.Errorf("captures %v, warnings %v", numbersOf(run), run.Warnings)
		}
	})
	t.Run("sync fails", func(t *testing.T) {
		w, f := faultyWriter(t)
		f.room, f.syncErr = 1<<20, syscall.EIO
		if err := w.Append(c); !errors.Is(err, syscall.EIO) || errors.Is(err, disk.ErrFull) {
			t.Error(err)
		}
		f.syncErr = nil
		if err := w.Append(c); err != nil {
			t.Error(err)
		}
		if run := logbooktest.ReadBack(t, w.File()); len(run.Captures) != 3 || len(run.Warnings) != 0 {
			t.Errorf("captures %v, warnings %v", numbersOf(run), run.Warnings)
		}
	})
	t.Run("nothing can be taken back", func(t *testing.T) {
		w, f := faultyWriter(t)
		f.room, f.cutErr = 40, syscall.EIO
		if err := w.Append(c); !errors.Is(err, disk.ErrFull) {
			t.Error(err)
		}
		if run := logbooktest.ReadBack(t, w.File()); len(run.Captures) != 2 || len(run.Warnings) != 1 {
			t.Errorf("captures %v, warnings %v: the rest is to be taken for a torn line", numbersOf(run), run.Warnings)
		}
		f.room = 1 << 20
		if err := w.Append(c); err == nil {
			t.Error("a line was written behind a torn one")
		}
		f.cutErr = nil
		if err := w.Append(c); err != nil {
			t.Error(err)
		}
		if run := logbooktest.ReadBack(t, w.File()); len(run.Captures) != 3 || len(run.Warnings) != 0 {
			t.Errorf("captures %v, warnings %v", numbersOf(run), run.Warnings)
		}
	})
}

// TestSmallDisk fills a real file system until it is full.
func TestSmallDisk(t *testing.T) {
	dir := smallDisk(t)
	w := logbooktest.Create(t, dir, logbooktest.Header(survey.StateUnpowered))
	rng := rand.New(rand.NewPCG(2, 9))
	n := 0
	var err error
	for err == nil && n < 1000 {
		if err = w.Append(logbooktest.Capture(rng, n+1, 400, 0)); err == nil {
			n++
		}
	}
	if !errors.Is(err, disk.ErrFull) {
		t.Fatalf("after %d captures: %v", n, err)
	}
	if n < 3 {
		t.Fatalf("only %d captures fitted: the disk is too small for this test", n)
	}
	run := logbooktest.ReadBack(t, w.File())
	if len(run.Captures) != n || len(run.Warnings) != 0 {
		t.Errorf("%d captures acknowledged, %d read; %v", n, len(run.Captures), run.Warnings)
	}
	if err := os.Remove(filepath.Join(dir, "ballast")); err != nil {
		t.Fatal(err)
	}
	if err := w.Append(logbooktest.Capture(rng, n+1, 400, 0)); err != nil {
		t.Errorf("with room again: %v", err)
	}
	logbooktest.Close(t, w)
	full := filepath.Join(dir, "ballast")
	fill(t, full)
	_, err = (&csvfile.Imported{Header: logbooktest.Header("rudder"), Captures: run.Captures}).Save(dir, nil)
	if !errors.Is(err, disk.ErrFull) {
		t.Errorf("import to a full disk: %v", err)
	}
	if files, strays, _ := logbook.RunFiles(dir); len(files) != 1 || len(strays) != 0 {
		t.Errorf("a failed import left %q %q", files, strays)
	}
}

// fill writes to path until the disk is full.
func fill(t *testing.T, path string) {
	t.Helper()
	f, err := os.Create(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	b := make([]byte, 4096)
	for range 4096 {
		if _, err := f.Write(b); err != nil {
			return
		}
	}
	t.Fatal("the disk never became full")
}
