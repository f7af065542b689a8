// Package filing makes the record of a craft folder. It gathers from the folder what
// the record needs besides the findings (Gather), writes the record's files into the
// folder (Files, Write), packs them with their inputs so that anyone can make the
// record again (Bundle), and stores the chosen spot (KeepChoice).
//
// In come a craft folder, findings and a ranking; out go files. Start reading at
// Files in this file; inputs.go hashes the inputs, compare.go compares the finished
// craft with the map.
package filing

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"quietmount/report/answer"
	"quietmount/report/record"
	"quietmount/report/words"
	"quietmount/survey/disk"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/verify"
)

// Folder is the folder of the record in a craft folder.
const Folder = "record"

// Gather fills in the options that a record takes from the folder, as it was read:
// the choice, the calibrations, arrow check and swing, unused runs, problems, and the
// hashes of the files. The caller sets paper, command and tool.
func Gather(ctx context.Context, all *logbook.Folder, found *evaluate.Findings, o *record.Options) (err error) {
	dir := all.Dir
	if o.Choice, err = logbook.Chosen(dir); err != nil {
		return err
	}
	if o.Checks, err = logbook.LoadSwings(dir); err != nil {
		return err
	}
	o.Problems = Problems(ctx, dir, words.Terminal)
	if err := ctx.Err(); err != nil {
		return err
	}
	var remarks []string
	o.Arrow, o.Swing, remarks = finished(ctx, all, o.Checks)
	for _, r := range remarks {
		o.Problems = append(o.Problems, answer.Problem{Severity: verify.SeverityWarning, File: logbook.SwingFolder, Coded: answer.Coded{Text: r}})
	}
	used := append(slices.Clone(found.Runs), found.Proofs...)
	for _, r := range all.Runs {
		if !slices.ContainsFunc(used, func(u *logbook.Run) bool { return u.Header.Run == r.Header.Run }) {
			o.Unused = append(o.Unused, r)
		}
	}
	for _, s := range o.Checks {
		used = append(used, s.Run)
	}
	compare(all, found, o)
	if o.Calibrations, err = calibrationsOf(dir, used, o.Compared); err != nil {
		return err
	}
	o.Inputs, err = hashFiles(dir, inputNames(found, *o))
	return err
}

// Files returns the files of the folder's record, with paper, command and tool of o.
func Files(ctx context.Context, all *logbook.Folder, found *evaluate.Findings, ranking *rank.Ranking, o record.Options) ([]record.File, error) {
	if err := Gather(ctx, all, found, &o); err != nil {
		return nil, err
	}
	return record.Files(ctx, found, ranking, o)
}

// Write writes the files of a record into the folder, each completely or not at all.
func Write(dir string, files []record.File) error {
	out := filepath.Join(dir, Folder)
	if err := os.MkdirAll(out, 0o777); err != nil {
		return err
	}
	for _, f := range files {
		if err := disk.Write(filepath.Join(out, f.Name), f.Data); err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	return nil
}

// Stale returns the names of files in the folder's record that are not among those
// just written: older ones, or put there by hand. It removes nothing.
func Stale(dir string, files []record.File) ([]string, error) {
	found, err := os.ReadDir(filepath.Join(dir, Folder))
	if err != nil {
		return nil, err
	}
	var out []string
	for _, e := range found {
		if !e.IsDir() && !slices.ContainsFunc(files, func(f record.File) bool { return f.Name == e.Name() }) {
			out = append(out, e.Name())
		}
	}
	return out, nil
}

// finished returns the newest arrow check and the newest swing of a craft folder. It
// returns nil for one that is missing or cannot be evaluated, with the reason in
// remarks. The arrow is judged at the date of the newest check and not today, so
// that the same folder gives the same record.
func finished(ctx context.Context, all *logbook.Folder, checks []*logbook.SwingFile) (arrow *answer.Arrow, swung *answer.Swing, remarks []string) {
	failed := func(f *logbook.SwingFile, err error) {
		remarks = append(remarks, fmt.Sprintf("%s: %v", inFolder(all.Dir, f.File), err))
	}
	var today time.Time
	for _, s := range checks {
		if s.Header.Started.After(today) {
			today = s.Header.Started
		}
	}
	if f := newest(checks, logbook.SwingArrow); f != nil {
		if a, err := answer.StoredArrow(ctx, words.Terminal, f, all.Craft, today); err != nil {
			failed(f, err)
		} else {
			a.File = inFolder(all.Dir, f.File)
			arrow = &a
		}
	}
	if f := newest(checks, logbook.SwingHeadings); f != nil {
		if in, err := answer.StoredSwing(ctx, words.Terminal, f, all.Craft.Limits.HeadingErrorDeg, false); err != nil {
			failed(f, err)
		} else {
			in.File = inFolder(all.Dir, f.File)
			swung = new(answer.NewSwing(in))
		}
	}
	return arrow, swung, remarks
}

// newest returns the newest check of a kind, or nil.
func newest(checks []*logbook.SwingFile, what string) *logbook.SwingFile {
	for _, s := range slices.Backward(checks) {
		if s.Swing.What == what {
			return s
		}
	}
	return nil
}

// calibrationsOf returns the stored calibrations that runs refer to and those named,
// by ID. It leaves out one that no longer exists: each run keeps what it needs of
// it.
func calibrationsOf(dir string, runs []*logbook.Run, named []string) ([]logbook.Calibration, error) {
	ids := slices.Clone(named)
	for _, r := range runs {
		if id := r.Header.Calibration; id != "" && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	var out []logbook.Calibration
	for _, id := range ids {
		c, err := logbook.LoadCalibration(dir, id)
		if errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if err != nil {
			return nil, err
		}
		out = append(out, *c)
	}
	return out, nil
}

// inFolder returns a file's path relative to the craft folder, with slashes, so that
// a record does not depend on where the folder is.
func inFolder(dir, name string) string {
	shown, err := filepath.Rel(dir, name)
	if err != nil {
		shown = filepath.Base(name)
	}
	return filepath.ToSlash(shown)
}

// Problems returns the problems of a craft folder worded for a face, with paths
// relative to the folder. Once ctx has ended the list is unfinished.
func Problems(ctx context.Context, dir string, face words.Face) []answer.Problem {
	out := answer.Problems(face, verify.Folder(ctx, dir))
	for i := range out {
		p := &out[i]
		p.File = inFolder(dir, p.File)
		p.Place.File = p.File
		p.Text = strings.ReplaceAll(p.Text, filepath.Clean(dir)+string(filepath.Separator), "")
	}
	return out
}
