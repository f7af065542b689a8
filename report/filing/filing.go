// Package filing puts the record of a craft folder together: it gathers what
// the record tells besides the findings, and packs everything from which anyone
// can make it again.
package filing

import (
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
	"quietmount/survey"
	"quietmount/survey/findings"
)

// Folder holds, in a craft folder, what a record consists of.
const Folder = "record"

// Gather fills in what a record needs of the folder besides the findings: the
// choice, the calibrations, arrow check and swing, what was not used, what is
// wrong, and the hashes of the files. Paper, command and tool are the caller's.
func Gather(dir string, found *findings.Findings, o *record.Options) error {
	all, err := survey.OpenFolder(dir)
	if err != nil {
		return err
	}
	if o.Choice, err = survey.Chosen(dir); err != nil {
		return err
	}
	if o.Checks, err = survey.LoadSwings(dir); err != nil {
		return err
	}
	o.Problems = Problems(dir)
	var remarks []string
	o.Arrow, o.Swing, remarks = finished(all, o.Checks)
	for _, r := range remarks {
		o.Problems = append(o.Problems, survey.Problem{Severity: survey.SeverityWarning, File: survey.SwingFolder, Text: r})
	}
	used := append(slices.Clone(found.Runs), found.Proofs...)
	for _, r := range all.Runs {
		if !slices.ContainsFunc(used, func(u *survey.Run) bool { return u.Header.Run == r.Header.Run }) {
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

// Files are the files of a record; o says paper, command and tool.
func Files(dir string, found *findings.Findings, ranking *findings.Ranking, o record.Options) ([]record.File, error) {
	if err := Gather(dir, found, &o); err != nil {
		return nil, err
	}
	return record.Files(found, ranking, o)
}

// Write puts the files of a record into the folder, each whole or not at all.
func Write(dir string, files []record.File) error {
	out := filepath.Join(dir, Folder)
	if err := os.MkdirAll(out, 0o777); err != nil {
		return err
	}
	for _, f := range files {
		if err := survey.WriteWhole(filepath.Join(out, f.Name), f.Data); err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	return nil
}

// Stale are the files in a craft folder's record that are not of the record
// just written: of an earlier one, or put there by hand. Nothing is removed.
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

// finished are the newest arrow check and the newest swing of a craft folder;
// nil where there is none, or where one cannot be evaluated, which remarks
// says. The date of the newest stands in for today, so that the same folder
// gives the same record.
func finished(all *survey.Folder, checks []*survey.SwingFile) (arrow *answer.Arrow, swung *answer.Swing, remarks []string) {
	failed := func(f *survey.SwingFile, err error) {
		remarks = append(remarks, fmt.Sprintf("%s: %v", inFolder(all.Dir, f.File), err))
	}
	if f := newest(checks, survey.SwingArrow); f != nil {
		if a, err := answer.StoredArrow(f, all.Craft, newestCheck(checks)); err != nil {
			failed(f, err)
		} else {
			a.File = inFolder(all.Dir, f.File)
			arrow = &a
		}
	}
	if f := newest(checks, survey.SwingHeadings); f != nil {
		if in, err := answer.StoredSwing(f, all.Craft.Limits.HeadingErrorDeg, false); err != nil {
			failed(f, err)
		} else {
			in.File = inFolder(all.Dir, f.File)
			swung = new(answer.NewSwing(in))
		}
	}
	return arrow, swung, remarks
}

func newest(checks []*survey.SwingFile, what string) *survey.SwingFile {
	for _, s := range slices.Backward(checks) {
		if s.Swing.What == what {
			return s
		}
	}
	return nil
}

// newestCheck is when the newest arrow check or swing began.
func newestCheck(checks []*survey.SwingFile) time.Time {
	var newest time.Time
	for _, s := range checks {
		if s.Header.Started.After(newest) {
			newest = s.Header.Started
		}
	}
	return newest
}

// calibrationsOf are the stored calibrations that runs refer to, by ID, and
// those named. One that is gone is passed over: each run keeps what it needs of
// it.
func calibrationsOf(dir string, runs []*survey.Run, named []string) ([]survey.Calibration, error) {
	ids := slices.Clone(named)
	for _, r := range runs {
		if id := r.Header.Calibration; id != "" && !slices.Contains(ids, id) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	var out []survey.Calibration
	for _, id := range ids {
		c, err := survey.LoadCalibration(dir, id)
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

// inFolder names a file from the craft folder on, with slashes, so that a
// record does not depend on where the folder lies.
func inFolder(dir, name string) string {
	shown, err := filepath.Rel(dir, name)
	if err != nil {
		shown = filepath.Base(name)
	}
	return filepath.ToSlash(shown)
}

// Problems are those of a craft folder, with their files named from the folder
// on.
func Problems(dir string) []survey.Problem { return inFolderProblems(dir, survey.VerifyFolder(dir)) }

// inFolderProblems are problems with their files named from the folder on.
func inFolderProblems(dir string, all []survey.Problem) []survey.Problem {
	out := make([]survey.Problem, len(all))
	for i, p := range all {
		p.File = inFolder(dir, p.File)
		p.Text = strings.ReplaceAll(p.Text, filepath.Clean(dir)+string(filepath.Separator), "")
		out[i] = p
	}
	return out
}
