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
		Flags:     []cli.Flag{runsFlag()},
		Action:    func(c *cli.Context) error { return record(c, sh) },
	}
}

func record(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	found, err := evaluate(c, sh)
	if err != nil {
		return err
	}
	ranking, err := found.Rank(findings.RankOptions{})
	if err != nil && !errors.Is(err, findings.ErrNoMap) {
		return err
	}
	if err := writeRecord(dir, found, ranking, sh.Now(), "quietmount record"); err != nil {
		return err
	}
	say(sh.Out, "written: %s", filepath.Join(dir, recordFolder, "sheet.html"))
	return nil
}

// writeRecord writes the sheet, the pictures and the answers.
func writeRecord(dir string, found *findings.Findings, ranking *findings.Ranking, now time.Time, command string) error {
	inputs, err := hashInputs(dir, found)
	if err != nil {
		return err
	}
	arrow, swing, remarks, err := finishAnswers(&survey.Folder{Dir: dir, Craft: found.Craft}, shell{Now: func() time.Time { return now }})
	if err != nil {
		return err
	}
	problems := survey.VerifyFolder(dir)
	for _, r := range remarks {
		problems = append(problems, survey.Problem{Severity: survey.SeverityWarning, File: survey.SwingFolder, Text: r})
	}
	files, err := report.Record(found, ranking, report.RecordOptions{
		Inputs: inputs, Problems: problems, Now: now, Tool: version(), Command: command, Arrow: arrow, Swing: swing,
	})
	if err != nil {
		return err
	}
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

// hashInputs are the files that the findings rest on with their SHA-256.
func hashInputs(dir string, found *findings.Findings) ([]report.Input, error) {
	names := []string{filepath.Join(dir, survey.CraftFile)}
	for _, r := range found.Runs {
		names = append(names, r.File)
	}
	swings, err := survey.LoadSwings(dir)
	if err != nil {
		return nil, err
	}
	for _, s := range swings {
		names = append(names, s.File)
	}
	var out []report.Input
	for _, name := range names {
		data, err := os.ReadFile(name)
		if errors.Is(err, fs.ErrNotExist) {
			data, err = os.ReadFile(filepath.Join(dir, name))
		}
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(data)
		out = append(out, report.Input{Name: inFolder(dir, name), SHA256: hex.EncodeToString(sum[:]), Lines: bytes.Count(data, []byte("\n"))})
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
