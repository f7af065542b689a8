package filing

import (
	"fmt"
	"path"
	"path/filepath"
	"time"

	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// KeepChoice stores a spot as the chosen one of a craft folder, with the runs it is
// based on and the hashes of their files. broken lists the constraints that the
// place breaks.
func KeepChoice(dir string, found *evaluate.Findings, spot rank.Spot, broken []string, now time.Time, tool string) (*logbook.Choice, error) {
	choice := rank.ChoiceOf(found, spot, broken)
	choice.Cautions = words.Terminal.All(found.Notes)
	choice.Chosen, choice.Tool = now.Truncate(time.Second), tool
	files := map[int]string{}
	for _, r := range found.Runs {
		files[r.Header.Run] = path.Join(logbook.RunsFolder, filepath.Base(r.File))
	}
	for i, r := range choice.Runs {
		in, err := hashFiles(dir, []string{files[r.Run]})
		if err != nil {
			return nil, fmt.Errorf("hash the runs: %w", err)
		}
		choice.Runs[i].File, choice.Runs[i].SHA256 = in[0].Name, in[0].SHA256
	}
	return choice, logbook.SaveChoice(dir, choice)
}

// ChoiceCautions returns what argues against a place about to be chosen.
func ChoiceCautions(spot rank.Spot, broken []string) []string {
	var out []string
	for _, b := range broken {
		out = append(out, "the chosen place breaks a constraint: "+b)
	}
	if !spot.WithinBudget || !spot.WithinSteady {
		out = append(out, "the chosen place is over the builder's limits")
	}
	return out
}
