package filing

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"slices"

	"quietmount/report/record"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
)

// inputNames returns the files that a record is based on.
func inputNames(found *evaluate.Findings, o record.Options) []string {
	names := []string{craftfile.Name}
	if o.Choice != nil {
		names = append(names, logbook.ChoiceFile)
	}
	for _, r := range append(slices.Clone(found.Runs), found.Proofs...) {
		names = append(names, filepath.Join(logbook.RunsFolder, filepath.Base(r.File)))
	}
	for _, s := range o.Checks {
		names = append(names, filepath.Join(logbook.SwingFolder, filepath.Base(s.File)))
	}
	for _, c := range o.Calibrations {
		names = append(names, filepath.Join(logbook.CalibrationFolder, c.ID+".json"))
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
