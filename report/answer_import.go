package report

import (
	"io"

	"quietmount/survey"
)

// ImportAnswer is the answer of `import`.
type ImportAnswer struct {
	Run      int      `json:"run"`
	File     string   `json:"file"`
	State    string   `json:"state"`
	Pulsed   bool     `json:"pulsed"`
	Captures int      `json:"captures"`
	Stations int      `json:"stations"`
	Samples  int      `json:"samples"`
	Warnings []string `json:"warnings"`
}

// NewImportAnswer counts what an imported run holds.
func NewImportAnswer(run *survey.Run, warnings []string) ImportAnswer {
	a := ImportAnswer{
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
func (a ImportAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	p.line("run %d, %s: %s at %s, %s, in %s", a.Run, a.State,
		counted(a.Captures, "capture"), counted(a.Stations, "station"), counted(a.Samples, "sample"), a.File)
	return p.failed()
}
