package csvfile

import "fmt"

// A CSVError places what is wrong in a CSV file. Line is 1-based, 0 for
// the file as a whole; Column is the name of the column, or empty.
type CSVError struct {
	File   string
	Line   int
	Column string
	Err    error
}

func (e *CSVError) Error() string {
	at := e.File
	if e.Line > 0 {
		at = fmt.Sprintf("%s:%d", at, e.Line)
	}
	if e.Column != "" {
		at += ": column " + e.Column
	}
	return fmt.Sprintf("%s: %v", at, e.Err)
}

func (e *CSVError) Unwrap() error { return e.Err }
