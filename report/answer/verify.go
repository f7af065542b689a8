package answer

import (
	"fmt"
	"io"

	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/survey/verify"
)

// Verify is the answer of `verify`.
type Verify struct {
	OK       bool             `json:"ok"`
	Errors   int              `json:"errors"`
	Warnings int              `json:"warnings"`
	Verdict  string           `json:"verdict"`
	Problems []verify.Problem `json:"problems"`
}

// NewVerify counts the problems of the folder dir.
func NewVerify(dir string, problems []verify.Problem) Verify {
	a := Verify{Problems: append([]verify.Problem{}, problems...)}
	for _, p := range problems {
		if p.Severity == verify.SeverityError {
			a.Errors++
		} else {
			a.Warnings++
		}
	}
	a.OK = a.Errors == 0
	switch {
	case a.Errors > 0:
		a.Verdict = fmt.Sprintf("%s in %s", say.Counted(a.Errors, "error"), dir)
	case a.Warnings > 0:
		a.Verdict = fmt.Sprintf("every file can be read; %s", say.Counted(a.Warnings, "warning"))
	default:
		a.Verdict = "every file can be read and nothing is amiss"
	}
	return a
}

// Text lists the problems, one a line, and the verdict.
func (a Verify) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	for _, problem := range a.Problems {
		p.Line("%v", problem)
	}
	p.Line("%s", a.Verdict)
	return p.Err()
}
