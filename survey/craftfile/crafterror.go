package craftfile

import (
	"cmp"
	"fmt"
	"io/fs"
	"slices"
	"strings"
)

// CraftError is one thing wrong with a craft file, and where. Line and Column
// count from 1, columns in characters.
type CraftError struct {
	Name         string // of the file, as given to ParseCraft
	Line, Column int
	Msg          string // what is wrong
	Hint         string // what to do; may be empty
}

// Error is "name:line:column: message; hint".
func (e *CraftError) Error() string {
	s := fmt.Sprintf("%s:%d:%d: %s", e.Name, e.Line, e.Column, e.Msg)
	if e.Hint != "" {
		s += "; " + e.Hint
	}
	return s
}

// CraftErrors are all that is wrong with a craft file, in the order of the
// file. It is never empty when it is returned as an error.
type CraftErrors []*CraftError

// Error is one line for each error.
func (e CraftErrors) Error() string {
	lines := make([]string, len(e))
	for i, one := range e {
		lines[i] = one.Error()
	}
	return strings.Join(lines, "\n")
}

// Unwrap lists the errors, so that errors.As finds a *CraftError.
func (e CraftErrors) Unwrap() []error {
	out := make([]error, len(e))
	for i, one := range e {
		out[i] = one
	}
	return out
}

// NoCraftError says that a folder has no craft file. It unwraps to
// fs.ErrNotExist.
type NoCraftError struct{ Dir string }

// Error names the folder and the command that writes a craft file.
func (e *NoCraftError) Error() string {
	at := " " + e.Dir
	switch {
	case e.Dir == ".":
		at = ""
	case strings.Contains(e.Dir, " "):
		at = ` "` + e.Dir + `"`
	}
	return fmt.Sprintf("no craft.toml in %s: run `quietmount init%s` to write one", e.Dir, at)
}

// Unwrap is fs.ErrNotExist.
func (e *NoCraftError) Unwrap() error { return fs.ErrNotExist }

// craftReport collects errors while a file is read.
type craftReport struct {
	name string
	errs CraftErrors
}

func (r *craftReport) fail(at craftPos, hint, format string, args ...any) {
	r.errs = append(r.errs, &CraftError{
		Name: r.name, Line: at.line, Column: at.col,
		Msg: fmt.Sprintf(format, args...), Hint: hint,
	})
}

// err is nil if nothing failed, else the errors in the order of the file.
func (r *craftReport) err() error {
	if len(r.errs) == 0 {
		return nil
	}
	slices.SortStableFunc(r.errs, func(a, b *CraftError) int {
		return cmp.Or(cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column))
	})
	return r.errs
}
