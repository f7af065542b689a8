package report

import (
	"io"
	"math"

	"quietmount/survey/standing"
)

// StandingAnswer is the answer of quietmount alone.
type StandingAnswer struct {
	Craft       string       `json:"craft"`
	Steps       []stepAnswer `json:"steps"`
	Next        *stepAnswer  `json:"next"`
	MinutesLeft float64      `json:"minutes_left"`
	Warnings    []string     `json:"warnings"`
}

type stepAnswer struct {
	Name    string  `json:"name"`
	State   string  `json:"state,omitempty"`
	Done    bool    `json:"done"`
	Begun   bool    `json:"begun"`
	Detail  string  `json:"detail"`
	Command string  `json:"command"`
	Most    int     `json:"most,omitempty"`
	Minutes float64 `json:"minutes"`
}

// NewStandingAnswer carries a standing into its JSON form.
func NewStandingAnswer(s *standing.Standing) StandingAnswer {
	a := StandingAnswer{
		Craft: s.Craft, MinutesLeft: math.Ceil(s.Minutes()),
		Steps: []stepAnswer{}, Warnings: append([]string{}, s.Notes...),
	}
	for _, step := range s.Steps {
		a.Steps = append(a.Steps, stepAnswer(step))
	}
	if next := s.Next(); next != nil {
		a.Next = new(stepAnswer(*next))
	}
	return a
}

// Text prints the steps, the next command and the minutes it takes.
func (a StandingAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	if a.Craft != "" {
		p.line("%s", a.Craft)
		p.line("")
	}
	for i, step := range a.Steps {
		p.line("%2d %s %s", i+1, mark(step), step.Name)
		if step.Detail != "" {
			p.line("          %s", step.Detail)
		}
	}
	p.line("")
	if a.Next == nil {
		p.line("Every step is done. After a change to the craft, walk again and see whether the spot still holds.")
		return p.failed()
	}
	p.line("Next, about %.0f minutes: %s", math.Max(1, a.Next.Minutes), a.Next.Name)
	p.line("    %s", a.Next.Command)
	if a.MinutesLeft > a.Next.Minutes {
		p.line("The rest of the job takes about %.0f minutes more.", a.MinutesLeft-a.Next.Minutes)
	}
	for _, warning := range a.Warnings {
		p.line("Note: %s.", warning)
	}
	return p.failed()
}

// mark is a word of four letters, so that no colour is needed.
func mark(s stepAnswer) string {
	switch {
	case s.Done:
		return "done"
	case s.Begun:
		return "half"
	}
	return "    "
}
