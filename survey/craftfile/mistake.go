package craftfile

import (
	"cmp"
	"fmt"
	"io/fs"
	"slices"
	"strings"
)

// MistakeError is one thing wrong with a craft file, and where. Line and Column
// count from 1, columns in characters.
type MistakeError struct {
	Name         string // of the file, as given to Parse
	Line, Column int
	Msg          string // what is wrong
	Hint         string // what to do; may be empty
}

// Error is "name:line:column: message; hint".
func (e *MistakeError) Error() string {
	s := fmt.Sprintf("%s:%d:%d: %s", e.Name, e.Line, e.Column, e.Msg)
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

// Mistakes are all that is wrong with a craft file, in the order of the
// file. It is never empty when it is returned as an error.
type Mistakes []*MistakeError

// Error is one line for each error.
func (e Mistakes) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lists the errors, so that errors.As finds a *MistakeError.
func (e Mistakes) Unwrap() []error {
	out := make([]error, len(e))
	for i, one := range e {
		out[i] = one
	}
	return out
}

// MissingError says that a folder has no craft file. It unwraps to
// fs.ErrNotExist.
type MissingError struct{ Dir string }

// Error returns the message with the folder.
func (e *MissingError) Error() string { return fmt.Sprintf("no %s in %s", Name, e.Dir) }

// Unwrap is fs.ErrNotExist.
func (e *MissingError) Unwrap() error { return fs.ErrNotExist }

// report collects errors while a file is read.
type report struct {
	name string
	errs Mistakes
}

func (r *report) fail(at position, hint, format string, args ...any) {
	r.errs = append(r.errs, &MistakeError{
		Name: r.name, Line: at.line, Column: at.col,
		Msg: fmt.Sprintf(format, args...), Hint: hint,
	})
}

// err is nil if nothing failed, else the errors in the order of the file.
func (r *report) err() error {
	if len(r.errs) == 0 {
		return nil
	}
	slices.SortStableFunc(r.errs, func(a, b *MistakeError) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return r.errs
}

// mostNameRunes bounds the length of a name.
const mostNameRunes = 60

// short returns s, cut where it is longer than a name, so that a message stays
// readable whatever the file holds.
func short(s string) string {
	r := []rune(s)
	if len(r) > mostNameRunes {
		return string(r[:mostNameRunes]) + "..."
	}
	return s
}
