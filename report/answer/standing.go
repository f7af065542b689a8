package answer

import (
	"io"
	"math"

	"quietmount/report/text"
	"quietmount/survey/progress"
)

// Standing is the answer of quietmount alone.
type Standing struct {
	Craft       string    `json:"craft"`
	Steps       []jobStep `json:"steps"`
	Next        *jobStep  `json:"next"`
	MinutesLeft float64   `json:"minutes_left"`
	Warnings    []string  `json:"warnings"`
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

// NewStanding carries a standing into its JSON form.
func NewStanding(s *progress.Standing) Standing {
	a := Standing{
		Craft: s.Craft, MinutesLeft: math.Ceil(s.Minutes()),
		Steps: []jobStep{}, Warnings: append([]string{}, s.Notes...),
	}
	for _, step := range s.Steps {
		a.Steps = append(a.Steps, jobStep(step))
	}
	if next := s.Next(); next != nil {
		a.Next = new(jobStep(*next))
	}
	return a
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
