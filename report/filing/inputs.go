package filing

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"slices"

	"quietmount/report/record"
	"quietmount/survey"
	"quietmount/survey/findings"
)

// inputNames returns the files that a record is based on.
func inputNames(found *findings.Findings, o record.Options) []string {
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

// hashFiles returns files of a folder with their SHA-256, named with slashes.
func hashFiles(dir string, names []string) ([]record.Input, error) {
	var out []record.Input
	for _, name := range names {
		data, err := os.ReadFile(filepath.Join(dir, name))
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256(data)
		out = append(out, record.Input{Name: filepath.ToSlash(name), SHA256: hex.EncodeToString(sum[:]), Lines: bytes.Count(data, []byte("\n"))})
	}
	return out, nil
}
