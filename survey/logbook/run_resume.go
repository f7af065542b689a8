package logbook

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"quietmount/survey/disk"
	"time"
)

// ErrNoRun says that there is no run to go on with.
var ErrNoRun = errors.New("no run to resume")

// ResumeRun locks the craft folder dir and opens a run to go on with it:
// number n or, if n is 0, the latest of that state (of any state if it is
// empty) that has no end note, else the latest one. Imported runs cannot be
// resumed. The run as it stands is returned with the writer.
//
// Nothing that is in the file is changed. A note of kind NoteResumed goes in;
// after a torn last line it is written on that same line and counts the torn
// bytes, so that a reader knows them for what they are.
func ResumeRun(dir string, n int, state string, now time.Time) (*RunWriter, *Run, error) {
	lock, err := LockFolder(dir, now)
	if err != nil {
		return nil, nil, err
	}
	w, run, err := lock.ResumeRun(n, state, now)
	if err != nil {
		return nil, nil, errors.Join(err, lock.Unlock())
	}
	w.ownLock = true
	return w, run, nil
}

// ResumeRun is the function of that name for who holds the lock already; it
// stays held after Close.
func (l *Lock) ResumeRun(n int, state string, now time.Time) (*RunWriter, *Run, error) {
	s, err := l.resumable(n, state)
	if err != nil {
		return nil, nil, err
	}
	w, err := l.goOn(s, now)
	if err != nil {
		return nil, nil, err
	}
	return w, s.Run, nil
}

// goOn opens the file as read for appending and notes that it is resumed.
func (l *Lock) goOn(s *RunReader, now time.Time) (*RunWriter, error) {
	f, size, err := openAppend(s.Name)
	if err != nil {
		return nil, err
	}
	w := &RunWriter{Path: s.Name, header: s.Run.Header, f: f, size: size, numbers: map[int]bool{}, next: 1, lock: l}
	for _, c := range s.Run.Captures {
		w.numbers[c.Number] = true
		w.next = max(w.next, c.Number+1)
	}
	b, err := resumedLine(s, now)
	if err == nil {
		err = w.line(b)
	}
	if err != nil {
		return nil, errors.Join(err, w.Close())
	}
	return w, nil
}

// resumedLine is what has to follow the file as it was read.
func resumedLine(s *RunReader, now time.Time) ([]byte, error) {
	torn := s.tail
	if s.tailGood {
		torn = 0
	}
	b, err := RunLine(WireNote{Kind: LineNote, About: NoteResumed, TornBytes: &torn, Time: now})
	if err == nil && s.tailGood {
		b = append([]byte("\n"), b...)
	}
	return b, err
}

// resumable is the run to go on with, as read.
func (l *Lock) resumable(n int, state string) (*RunReader, error) {
	names, _, err := RunFiles(l.dir)
	if err != nil {
		return nil, err
	}
	var fit []*RunReader
	for _, name := range names {
		number, _ := RunNumber(name)
		if n != 0 && number != n {
			continue
		}
		s, err := ReadRunFile(context.Background(), filepath.Join(l.dir, RunsFolder, name))
		if n != 0 && err != nil {
			return nil, err
		}
		if n != 0 && s.Run.Header.Imported {
			return nil, fmt.Errorf("%w: run %d was imported", ErrNoRun, n)
		}
		if err != nil || s.Run.Header.Imported || (n == 0 && state != "" && s.Run.Header.State != state) {
			continue // another run's damage is for verify to tell
		}
		s.Number(number)
		fit = append(fit, s)
	}
	if len(fit) == 0 {
		return nil, l.nothingToResume(n, state)
	}
	return unfinished(fit, func(s *RunReader) *Run { return s.Run }), nil
}

func (l *Lock) nothingToResume(n int, state string) error {
	switch {
	case n != 0:
		return fmt.Errorf("%w: there is no run %d in %s", ErrNoRun, n, l.dir)
	case state != "":
		return fmt.Errorf("%w: no run of the state %q in %s; start one without resuming", ErrNoRun, state, l.dir)
	}
	return fmt.Errorf("%w: %s holds no runs yet", ErrNoRun, l.dir)
}

// ReadRunFile reads a run. Once ctx has ended the error is that of ctx.
func ReadRunFile(ctx context.Context, path string) (*RunReader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("read a run: %w", err)
	}
	defer f.Close()
	s := RunReader{Name: path, Run: &Run{File: path}, stop: true}
	s.Read(disk.Reader(ctx, f))
	if len(s.Errs) > 0 {
		return nil, s.Errs[0]
	}
	return &s, nil
}
