package rank

import (
	"fmt"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Asked returns the next stations of a ranking as stations to walk. It names
// them N1, N2 and so on and skips names that the craft file or a run already
// uses.
func Asked(f *logbook.Folder, r *Ranking) []survey.Station {
	used := map[string]bool{}
	for _, s := range f.Craft.Stations() {
		used[s.Name] = true
	}
	for _, run := range f.Runs {
		for _, c := range run.Captures {
			used[c.Station] = true
		}
	}
	var out []survey.Station
	n := 0
	for _, s := range r.NextStations {
		name := ""
		for name == "" || used[name] {
			n++
			name = fmt.Sprintf("N%d", n)
		}
		out = append(out, survey.Station{Name: name, At: s.At})
	}
	return out
}
