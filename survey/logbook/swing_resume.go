package logbook

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"
)

// ResumeSwing locks the craft folder dir and opens a file of its swing folder
// to go on with it: the latest that holds what, SwingHeadings or SwingArrow,
// and has no end note, else the latest that holds it. The file as it stands is
// returned with the writer; what ResumeRun says of the file holds here too.
func ResumeSwing(dir, what string, now time.Time) (*RunWriter, *SwingFile, error) {
	lock, err := LockFolder(dir, now)
	if err != nil {
		return nil, nil, err
	}
	w, file, err := lock.resumeSwing(what, now)
	if err != nil {
		return nil, nil, errors.Join(err, lock.Unlock())
	}
	w.ownLock = true
	return w, file, nil
}

func (l *Lock) resumeSwing(what string, now time.Time) (*RunWriter, *SwingFile, error) {
	file, err := UnfinishedSwing(l.dir, what)
	if err != nil {
		return nil, nil, err
	}
	s, err := ReadRunFile(context.Background(), file.File)
	if err != nil {
		return nil, nil, err
	}
	s.Number(file.Header.Run)
	w, err := l.goOn(s, now)
	return w, file, err
}

// UnfinishedSwing is what ResumeSwing would go on with, read only. It is
// ErrNoRun where there is nothing; a damaged file is passed over, which is for
// VerifyFolder to tell.
func UnfinishedSwing(dir, what string) (*SwingFile, error) {
	names, err := swingFiles(dir)
	if err != nil {
		return nil, err
	}
	var fit []*SwingFile
	for _, name := range names {
		f, err := LoadSwing(filepath.Join(dir, SwingFolder, name))
		if err != nil || f.Swing.What != what {
			continue
		}
		fit = append(fit, f)
	}
	if len(fit) > 0 {
		return unfinished(fit, func(f *SwingFile) *Run { return f.Run }), nil
	}
	return nil, fmt.Errorf("%w: %s holds no %s yet; start one without resuming", ErrNoRun, dir, swingWords(what))
}

func swingWords(what string) string {
	if what == SwingArrow {
		return "arrow check"
	}
	return "swing"
}
