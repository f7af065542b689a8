package answer

import (
	"fmt"
	"io"

	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/verify"
)

// Verify is the answer of `verify`.
type Verify struct {
	OK       bool      `json:"ok"`
	Errors   int       `json:"errors"`
	Warnings int       `json:"warnings"`
	Verdict  string    `json:"verdict"`
	Problems []Problem `json:"problems"`
}

// Problem is one thing that is wrong in a craft folder.
type Problem struct {
	Severity verify.Severity `json:"severity"`
	File     string          `json:"file"`
	Line     int             `json:"line,omitempty"`
	Coded
}

// Problems returns problems worded for a face.
func Problems(face words.Face, problems []verify.Problem) []Problem {
	out := make([]Problem, 0, len(problems))
	for _, p := range problems {
		out = append(out, Problem{p.Severity, p.Remark.Place.File, p.Remark.Place.Line, CodedOf(face, p.Remark)})
	}
	return out
}

// String returns "severity: file:line: text".
func (p Problem) String() string {
	if p.Line == 0 {
		return fmt.Sprintf("%s: %s: %s", p.Severity, p.File, p.Text)
	}
	return fmt.Sprintf("%s: %s:%d: %s", p.Severity, p.File, p.Line, p.Text)
}

// NewVerify counts the problems of the folder dir.
func NewVerify(dir string, problems []verify.Problem) Verify {
	a := Verify{Problems: Problems(words.Terminal, problems)}
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
