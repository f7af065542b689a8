package logbook

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"quietmount/survey/disk"
)

// A RunWriter appends to one run file, and holds the lock of the craft
// folder while it is open. Its methods may be called from several goroutines.
type RunWriter struct {
	mu      sync.Mutex
	Path    string
	header  Header
	f       runFile
	size    int64 // of what is whole and synced
	dirty   bool  // bytes may lie after size that could not be taken back
	numbers map[int]bool
	next    int
	lock    *Lock
}

// runFile is what a RunWriter needs of a file opened for appending.
type runFile interface {
	io.Writer
	Truncate(size int64) error
	Sync() error
	Close() error
}

// CreateRun locks the craft folder dir and begins a new run in it. The run
// gets the next free number, whatever h.Run says; the header is on the disk
// when CreateRun returns. Close gives the lock back.
func CreateRun(dir string, h Header) (*RunWriter, error) {
	return locked(dir, h.Started, func(l *Lock) (*RunWriter, error) {
		name, h, line, err := l.newRun(h)
		if err != nil {
			return nil, err
		}
		return l.begin(name, h, line)
	})
}

// SaveRun locks the craft folder dir and writes a whole run into it under the
// next free number, atomically, and returns it as read back.
func SaveRun(dir string, h Header, captures []Capture, notes []Note) (run *Run, err error) {
	lock, err := LockFolder(dir, h.Started)
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	name, _, text, err := lock.newRun(h)
	if err != nil {
		return nil, err
	}
	for _, c := range captures {
		line, err := encodeCapture(c)
		if err != nil {
			return nil, err
		}
		text = append(text, line...)
	}
	for _, n := range notes {
		line, err := encodeNote(n)
		if err != nil {
			return nil, err
		}
		text = append(text, line...)
	}
	if err := disk.Create(name, text); err != nil {
		return nil, err
	}
	return LoadRun(context.Background(), name)
}

// locked gives a writer the lock of the folder dir, which the writer's Close gives back.
func locked(dir string, now time.Time, open func(*Lock) (*RunWriter, error)) (*RunWriter, error) {
	lock, err := LockFolder(dir, now)
	if err != nil {
		return nil, err
	}
	w, err := open(lock)
	if err != nil {
		return nil, errors.Join(err, lock.Unlock())
	}
	return w, nil
}

// newRun returns the path, the header and the header's line of a run with the next
// free number.
func (l *Lock) newRun(h Header) (path string, numbered Header, line []byte, err error) {
	if strings.TrimSpace(h.State) == "" {
		return "", h, nil, errors.New("a run needs a state: background, unpowered or the name of a load")
	}
	if h.Run, err = nextRunNumber(l.dir); err != nil {
		return "", h, nil, err
	}
	line, err = encodeHeader(h)
	return filepath.Join(l.dir, RunsFolder, fmt.Sprintf("%04d-%s.jsonl", h.Run, runSlug(h.State))), h, line, err
}

// begin makes a file with its header line and opens it for appending.
func (l *Lock) begin(path string, h Header, line []byte) (*RunWriter, error) {
	if err := disk.Create(path, line); err != nil {
		return nil, err
	}
	f, size, err := openAppend(path)
	if err != nil {
		return nil, err
	}
	return &RunWriter{Path: path, header: h, f: f, size: size, numbers: map[int]bool{}, next: 1, lock: l}, nil
}

func openAppend(path string) (*os.File, int64, error) {
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_APPEND, 0)
	if err != nil {
		return nil, 0, fmt.Errorf("open the run: %w", err)
	}
	st, err := f.Stat()
	if err != nil {
		f.Close()
		return nil, 0, fmt.Errorf("open the run: %w", err)
	}
	return f, st.Size(), nil
}

// File returns the path of the run file.
func (w *RunWriter) File() string { return w.Path }

// Header returns the header as written, with the run's number.
func (w *RunWriter) Header() Header { return w.header }

// Append adds a capture. When it returns nil the capture is on the disk and may
// be acknowledged. When it returns an error the file is as it was before, and
// the same capture may be tried again; errors.Is(err, disk.ErrFull) reports
// that the disk is full. A capture without a number, station or samples, with a
// number already used or with a number that is not finite is refused.
func (w *RunWriter) Append(c Capture) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	switch {
	case c.Number < 1:
		return fmt.Errorf("a capture needs a number from 1 up, not %d", c.Number)
	case w.numbers[c.Number]:
		return fmt.Errorf("capture %d is in run %d already; the next is %d", c.Number, w.header.Run, w.next)
	case c.Station == "":
		return fmt.Errorf("capture %d names no station", c.Number)
	case len(c.Samples) == 0:
		return fmt.Errorf("capture %d has no samples", c.Number)
	}
	b, err := encodeCapture(c)
	if err != nil {
		return err
	}
	if err := w.line(b); err != nil {
		return fmt.Errorf("capture %d: %w", c.Number, err)
	}
	w.numbers[c.Number] = true
	w.next = max(w.next, c.Number+1)
	return nil
}

// Void appends a line that voids the capture number, with the reason. The
// capture stays in the file.
func (w *RunWriter) Void(number int, why string, now time.Time) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if !w.numbers[number] {
		return fmt.Errorf("capture %d is not in run %d, so it cannot be voided", number, w.header.Run)
	}
	b, err := runLine(wireVoid{Kind: lineVoid, Capture: number, Why: voidReason(why), Time: now})
	if err != nil {
		return fmt.Errorf("void of capture %d: %w", number, err)
	}
	return w.line(b)
}

// Note adds a note.
func (w *RunWriter) Note(n Note) error {
	w.mu.Lock()
	defer w.mu.Unlock()
	b, err := encodeNote(n)
	if err != nil {
		return err
	}
	return w.line(b)
}

// line writes b in one go and syncs it, or takes back what came of it.
func (w *RunWriter) line(b []byte) error {
	if w.f == nil {
		return fmt.Errorf("%s: the run is closed", w.Path)
	}
	if w.dirty {
		if err := w.takeBack(); err != nil {
			return w.saveError(err)
		}
	}
	n, err := w.f.Write(b)
	if err == nil && n < len(b) {
		err = io.ErrShortWrite
	}
	if err == nil {
		err = w.f.Sync()
	}
	if err == nil {
		w.size += int64(len(b))
		return nil
	}
	w.dirty = true
	_ = w.takeBack() // tried again before the next line; a reader takes the rest for a torn line
	return w.saveError(err)
}

// takeBack cuts off what a failed write left. Those bytes were never
// acknowledged.
func (w *RunWriter) takeBack() error {
	if err := w.f.Truncate(w.size); err != nil {
		return err
	}
	if err := w.f.Sync(); err != nil {
		return err
	}
	w.dirty = false
	return nil
}

func (w *RunWriter) saveError(err error) error {
	const safe = "nothing that was acknowledged is lost"
	if disk.IsFull(err) {
		return fmt.Errorf("not saved in %s: %w (%v); %s: make room and try again", w.Path, disk.ErrFull, err, safe)
	}
	return fmt.Errorf("not saved in %s; %s: %w", w.Path, safe, err)
}

// Close ends the writing and gives the lock back. It writes no end note.
func (w *RunWriter) Close() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.f == nil {
		return nil
	}
	err := w.f.Close()
	w.f = nil
	if err = errors.Join(err, w.lock.Unlock()); err != nil {
		return fmt.Errorf("close %s: %w", filepath.Base(w.Path), err)
	}
	return nil
}
