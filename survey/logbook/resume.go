package logbook

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"
)

// ErrNoRun reports that there is no run to resume.
var ErrNoRun = errors.New("no run to resume")

// ResumeRun locks the craft folder dir and opens a run to append to it: number
// n or, if n is 0, the latest of the state (any state if it is empty) without
// an end note; if all have one, the latest. Imported runs cannot be resumed. It
// returns the writer and the run as read.
//
// It changes nothing already in the file. It appends a note of kind
// NoteResumed; after a torn last line it writes the note on that same line with
// the number of torn bytes, so that a reader can skip them.
func ResumeRun(dir string, n int, state string, now time.Time) (w *RunWriter, run *Run, err error) {
	w, err = locked(dir, now, func(l *Lock) (*RunWriter, error) {
		s, err := l.resumable(n, state)
		if err != nil {
			return nil, err
		}
		run = s.run
		return l.goOn(s, now)
	})
	return w, run, err
}

// goOn opens the file as read for appending and notes that it is resumed.
func (l *Lock) goOn(s *runReader, now time.Time) (*RunWriter, error) {
	f, size, err := openAppend(s.name)
	if err != nil {
		return nil, err
	}
	w := &RunWriter{Path: s.name, header: s.run.Header, f: f, size: size, numbers: map[int]bool{}, next: 1, lock: l}
	for _, c := range s.run.Captures {
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
func resumedLine(s *runReader, now time.Time) ([]byte, error) {
	torn := s.tail
	if s.tailGood {
		torn = 0
	}
	b, err := runLine(wireNote{Kind: lineNote, About: NoteResumed, TornBytes: &torn, Time: now})
	if err == nil && s.tailGood {
		b = append([]byte("\n"), b...)
	}
	return b, err
}

// resumable is the run to go on with, as read.
func (l *Lock) resumable(n int, state string) (*runReader, error) {
	names, _, err := RunFiles(l.dir)
	if err != nil {
		return nil, err
	}
	var fit []*runReader
	for _, name := range names {
		number, _ := RunNumber(name)
		if n != 0 && number != n {
			continue
		}
		s, err := readFile(context.Background(), filepath.Join(l.dir, RunsFolder, name))
		if n != 0 && err != nil {
			return nil, err
		}
		switch {
		case n != 0 && s.run.Header.Imported:
			return nil, fmt.Errorf("%w: run %d was imported", ErrNoRun, n)
		case n != 0 && s.run.Failed() != nil:
			return nil, fmt.Errorf("%w: run %d is part of a proof that failed; begin a fresh one", ErrNoRun, n)
		}
		if err != nil || s.run.Header.Imported || s.run.Failed() != nil || (n == 0 && state != "" && s.run.Header.State != state) {
			continue // another run's damage is for verify to tell
		}
		fit = append(fit, s)
	}
	if len(fit) == 0 {
		return nil, l.nothingToResume(n, state)
	}
	return unfinished(fit, func(s *runReader) *Run { return s.run }), nil
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
