package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/report"
	"quietmount/survey"
	"quietmount/survey/findings"
)

func recordCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "record",
		Category:  groupFile,
		Usage:     "write the record sheet, the maps and the numbers into DIR/record",
		ArgsUsage: "[DIR]",
		Description: "The sheet is for the chosen spot (rank --choose), else for the first of the ranking, as one HTML\n" +
			"file and as PDF. The same files give the same bytes. --bundle packs everything from which anyone\n" +
			"can run verify and record again.",
		Flags: []cli.Flag{
			paperFlag(),
			&cli.StringFlag{Name: "bundle", Usage: "pack the craft file, runs, calibrations, swings, choice and record into `FILE`.zip too"},
			runsFlag(),
		},
		Action: func(c *cli.Context) error { return record(c, sh) },
	}
}

func record(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	paper, err := paperOf(c)
	if err != nil {
		return err
	}
	if name := c.String("bundle"); name != "" && filepath.Ext(name) != ".zip" {
		return wrong("e.g. --bundle sandpiper.zip", "--bundle %s: a bundle's name ends in .zip", name)
	}
	found, err := evaluate(c, sh)
	if err != nil {
		return err
	}
	ranking, err := found.Rank(findings.RankOptions{})
	if err != nil && !errors.Is(err, findings.ErrNoMap) {
		return err
	}
	files, err := recordFiles(dir, found, ranking, report.RecordOptions{Command: recordLine(c), Paper: paper})
	if err != nil {
		return err
	}
	if err := writeRecord(dir, files); err != nil {
		return err
	}
	say(sh.Out, "written: %s and sheet.pdf beside it", filepath.Join(dir, recordFolder, "sheet.html"))
	if name := c.String("bundle"); name != "" {
		if err := writeBundle(name, dir, files); err != nil {
			return err
		}
		say(sh.Out, "packed: %s", name)
	}
	return nil
}

// recordLine is the command that gives the same record again, run in the craft
// folder.
func recordLine(c *cli.Context) string {
	line := "quietmount record"
	for _, flag := range []string{"runs", "paper"} {
		if c.IsSet(flag) {
			line += " --" + flag + " " + c.String(flag)
		}
	}
	return line
}

// recordFiles are the files of a record; o says the rest.
func recordFiles(dir string, found *findings.Findings, ranking *findings.Ranking, o report.RecordOptions) ([]report.File, error) {
	all, err := survey.OpenFolder(dir)
	if err != nil {
		return nil, err
	}
	if err := gather(all, found, &o); err != nil {
		return nil, err
	}
	if o.Inputs, err = hashFiles(dir, inputNames(found, o)); err != nil {
		return nil, err
	}
	o.Tool = version()
	return report.Record(found, ranking, o)
}

// gather reads what a record tells besides the findings: the choice, the
// calibrations, arrow check and swing, what was not used and what is wrong.
func gather(all *survey.Folder, found *findings.Findings, o *report.RecordOptions) error {
	var err error
	if o.Choice, err = storedChoice(all.Dir); err != nil {
		return err
	}
	if o.Checks, err = survey.LoadSwings(all.Dir); err != nil {
		return err
	}
	o.Problems = inFolderProblems(all.Dir, survey.VerifyFolder(all.Dir))
	var remarks []string
	if o.Arrow, o.Swing, remarks, err = finishAnswers(all, shell{Now: func() time.Time { return newestCheck(o.Checks) }}); err != nil {
		return err
	}
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
	o.Calibrations, err = calibrationsOf(all.Dir, used)
	return err
}

// storedChoice is the chosen spot of a folder, nil where there is none.
func storedChoice(dir string) (*survey.Choice, error) {
	choice, err := survey.LoadChoice(dir)
	if errors.Is(err, survey.ErrNoChoice) {
		return nil, nil
	}
	return choice, err
}

// newestCheck is when the newest arrow check or swing began: it stands in for
// today, so that the same folder gives the same record.
func newestCheck(checks []*survey.SwingFile) time.Time {
	var newest time.Time
	for _, s := range checks {
		if s.Header.Started.After(newest) {
			newest = s.Header.Started
		}
	}
	return newest
}

// calibrationsOf are the stored calibrations that runs refer to, by ID. One
// that is gone is passed over: each run keeps what it needs of it.
func calibrationsOf(dir string, runs []*survey.Run) ([]survey.Calibration, error) {
	var ids []string
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

// writeRecord writes the files of a record into the folder.
func writeRecord(dir string, files []report.File) error {
	out := filepath.Join(dir, recordFolder)
	if err := os.MkdirAll(out, 0o777); err != nil {
		return err
	}
	for _, f := range files {
		if err := writeFile(filepath.Join(out, f.Name), f.Data); err != nil {
			return fmt.Errorf("%s: %w", f.Name, err)
		}
	}
	return nil
}

// inputNames are the files that a record rests on.
func inputNames(found *findings.Findings, o report.RecordOptions) []string {
	names := []string{survey.CraftFile}
	if o.Choice != nil {
		names = append(names, survey.ChoiceFile)
	}
	for _, r := range append(slices.Clone(found.Runs), found.Proofs...) {
		names = append(names, filepath.Join(survey.RunsFolder, filepath.Base(r.File)))
	}
	for _, s := range o.Checks {
		names = append(names, filepath.Join(survey.SwingFolder, filepath.Base(s.File)))
	}
	for _, c := range o.Calibrations {
		names = append(names, filepath.Join(survey.CalibrationFolder, c.ID+".json"))
	}
	return names
}

// hashFiles are files of a folder with their SHA-256, named with slashes.
func hashFiles(dir string, names []string) ([]report.Input, error) {
	var out []report.Input
	for _, name := range names {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(data)
		out = append(out, report.Input{Name: filepath.ToSlash(name), SHA256: hex.EncodeToString(sum[:]), Lines: bytes.Count(data, []byte("\n"))})
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
