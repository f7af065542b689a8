package answer

import (
	"io"

	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/survey/logbook"
)

// Import is the answer of `import`.
type Import struct {
	Run      int      `json:"run"`
	File     string   `json:"file"`
	State    string   `json:"state"`
	Pulsed   bool     `json:"pulsed"`
	Captures int      `json:"captures"`
	Stations int      `json:"stations"`
	Samples  int      `json:"samples"`
	Warnings []string `json:"warnings"`
}

// NewImport counts what an imported run holds.
func NewImport(run *logbook.Run, warnings []string) Import {
	a := Import{
		Run: run.Header.Run, File: run.File, State: run.Header.State, Pulsed: run.Header.Pulsed,
		Warnings: append([]string{}, warnings...),
	}
	names := map[string]bool{}
	for _, c := range run.Valid() {
		a.Captures++
		a.Samples += len(c.Samples)
		names[c.Station] = true
	}
	a.Stations = len(names)
	return a
}

// Text says the same in a sentence.
func (a Import) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("run %d, %s: %s at %s, %s, in %s", a.Run, a.State,
		say.Counted(a.Captures, "capture"), say.Counted(a.Stations, "station"), say.Counted(a.Samples, "sample"), a.File)
	return p.Err()
}
