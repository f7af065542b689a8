package answer

import (
	"io"

	"quietmount/magmath/remark"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
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
	Coded    []Coded  `json:"warnings_coded"`
	Unusable *Coded   `json:"unusable"` // why no capture can be used; null: some can
	Checked
}

// NewImport counts what an imported run holds.
func NewImport(run *logbook.Run, warnings []remark.Remark) Import {
	a := Import{
		Run: run.Header.Run, File: run.File, State: run.Header.State, Pulsed: run.Header.Pulsed,
		Warnings: []string{}, Coded: CodedAll(words.Terminal, warnings), Checked: Checked{Checks: []Check{}},
	}
	for _, w := range warnings {
		a.Warnings = append(a.Warnings, words.Terminal.Placed(w))
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
	if a.Unusable != nil {
		p.Sentence(say.Capital(a.Unusable.Text) + ".")
	}
	if h := a.Untrusted(); h != "" {
		p.Sentence(h)
	}
	p.Line("run %d, %s: %s at %s, %s, in %s", a.Run, a.State,
		say.Counted(a.Captures, "capture"), say.Counted(a.Stations, "station"), say.Counted(a.Samples, "sample"), a.File)
	return p.Err()
}
