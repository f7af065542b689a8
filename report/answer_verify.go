package report

import (
	"fmt"
	"io"

	"quietmount/survey"
)

// VerifyAnswer is the answer of `verify`.
type VerifyAnswer struct {
	OK       bool             `json:"ok"`
	Errors   int              `json:"errors"`
	Warnings int              `json:"warnings"`
	Verdict  string           `json:"verdict"`
	Problems []survey.Problem `json:"problems"`
}

// NewVerifyAnswer counts the problems of the folder dir.
func NewVerifyAnswer(dir string, problems []survey.Problem) VerifyAnswer {
	a := VerifyAnswer{Problems: append([]survey.Problem{}, problems...)}
	for _, p := range problems {
		if p.Severity == survey.SeverityError {
			a.Errors++
		} else {
			a.Warnings++
		}
	}
	a.OK = a.Errors == 0
	switch {
	case a.Errors > 0:
		a.Verdict = fmt.Sprintf("%s in %s", counted(a.Errors, "error"), dir)
	case a.Warnings > 0:
		a.Verdict = fmt.Sprintf("every file can be read; %s", counted(a.Warnings, "warning"))
	default:
		a.Verdict = "every file can be read and nothing is amiss"
	}
	return a
}

// Text lists the problems, one a line, and the verdict.
func (a VerifyAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	for _, problem := range a.Problems {
		p.line("%v", problem)
	}
	p.line("%s", a.Verdict)
	return p.failed()
}
