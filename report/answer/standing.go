package answer

import (
	"io"
	"math"

	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/progress"
)

// Standing is the answer of quietmount without a command: the state of the job
// and the next step.
type Standing struct {
	Craft       string    `json:"craft"`
	Steps       []jobStep `json:"steps"`
	Next        *jobStep  `json:"next"`
	MinutesLeft float64   `json:"minutes_left"`
	Warnings    []string  `json:"warnings"`
	Coded       []Coded   `json:"warnings_coded"`
}

type jobStep struct {
	Name    string  `json:"name"`
	State   string  `json:"state,omitempty"`
	Done    bool    `json:"done"`
	Begun   bool    `json:"begun"`
	Detail  string  `json:"detail"`
	Command string  `json:"command"`
	Most    int     `json:"most,omitempty"`
	Minutes float64 `json:"minutes"`
}

// NewStanding returns the answer for a job of the folder dir.
func NewStanding(j *progress.Job, dir string) Standing {
	a := Standing{
		Craft: j.Craft, MinutesLeft: math.Ceil(j.Minutes()), Steps: []jobStep{},
		Warnings: words.Terminal.All(j.Notes), Coded: CodedAll(words.Terminal, j.Notes),
	}
	for _, s := range j.Steps {
		a.Steps = append(a.Steps, stepOf(s, dir))
	}
	if next := j.Next(); next != nil {
		a.Next = new(stepOf(*next, dir))
	}
	return a
}

func stepOf(s progress.Step, dir string) jobStep {
	out := jobStep{
		Name: StepName(s), Done: s.Done, Begun: s.Begun, Detail: words.Terminal.Say(s.Detail), Command: Command(s, dir), Most: s.Most, Minutes: s.Minutes,
	}
	if s.Kind == progress.Walk {
		out.State = s.State
	}
	return out
}

// StepName returns the step in words.
func StepName(s progress.Step) string {
	switch {
	case s.Kind != progress.Walk:
		return map[progress.Kind]string{
			progress.Describe: "describe the craft", progress.Calibrate: "calibrate the probe, away from the craft",
			progress.Axes: "find which way the probe's axes point", progress.Choose: "see the map and choose a spot",
			progress.Prove: "prove the spot before the glue", progress.Arrow: "check the arrow, then glue",
			progress.OnCraft: "calibrate the finished craft", progress.Swing: "swing the craft", progress.Record: "write the record sheet",
		}[s.Kind]
	case s.State == survey.StateBackground:
		return "measure the background, the craft away"
	case s.Load == nil:
		return "walk the stations, the craft in place, everything off"
	case s.Load.Kind == survey.LoadMoving:
		return "walk the stations moving " + s.State
	}
	return "walk the stations pulsing " + s.State
}

// Text prints the steps, the next command and the minutes it takes.
func (a Standing) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	if a.Craft != "" {
		p.Line("%s", a.Craft)
		p.Line("")
	}
	for i, step := range a.Steps {
		p.Line("%2d %s %s", i+1, mark(step), step.Name)
		if step.Detail != "" {
			p.Line("          %s", step.Detail)
		}
	}
	p.Line("")
	if a.Next == nil {
		p.Line("Every step is done. After a change to the craft, walk again and see whether the spot still holds.")
		return p.Err()
	}
	p.Line("Next, about %.0f minutes: %s", math.Max(1, a.Next.Minutes), a.Next.Name)
	p.Line("    %s", a.Next.Command)
	if a.MinutesLeft > a.Next.Minutes {
		p.Line("The rest of the job takes about %.0f minutes more.", a.MinutesLeft-a.Next.Minutes)
	}
	for _, warning := range a.Warnings {
		p.Line("Note: %s.", warning)
	}
	return p.Err()
}

// mark is a word of four letters, so that no colour is needed.
func mark(s jobStep) string {
	switch {
	case s.Done:
		return "done"
	case s.Begun:
		return "half"
	}
	return "    "
}
