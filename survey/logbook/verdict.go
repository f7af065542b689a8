package logbook

import (
	"context"
	"errors"
	"path/filepath"
	"slices"
	"time"
)

// KeepVerdict locks the craft folder dir and appends what a proof came to to each of
// its runs, those of the numbers v.Runs. A run that has a failed verdict already keeps
// that one. Nothing already in the files changes.
func KeepVerdict(dir string, v Verdict, now time.Time) (err error) {
	lock, err := LockFolder(dir, now)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, lock.Unlock()) }()
	names, _, err := RunFiles(dir)
	if err != nil {
		return err
	}
	for _, name := range names {
		if n, _ := RunNumber(name); slices.Contains(v.Runs, n) {
			if err := appendVerdict(filepath.Join(dir, RunsFolder, name), v, now); err != nil {
				return err
			}
		}
	}
	return nil
}

// appendVerdict appends the verdict to one run file. After a torn last line it goes on
// as a resumption does.
func appendVerdict(path string, v Verdict, now time.Time) (err error) {
	s, err := readFile(context.Background(), path)
	if err != nil || s.run.Failed() != nil {
		return err
	}
	f, size, err := openAppend(path)
	if err != nil {
		return err
	}
	w := &RunWriter{Path: path, header: s.run.Header, f: f, size: size}
	defer func() { err = errors.Join(err, f.Close()) }()
	if s.tail > 0 {
		b, err := resumedLine(s, now)
		if err != nil {
			return err
		}
		if err := w.line(b); err != nil {
			return err
		}
	}
	return w.Note(Note{Kind: NoteVerdict, Time: now, Verdict: &v})
}
