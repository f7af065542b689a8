package csvfile

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/survey/number"
)

// maxImport bounds a CSV file; it is some ten million samples.
const maxImport = 1 << 30

// Table reads a CSV file row by row: commas, or semicolons or tabs with
// decimal commas. Every error about the content is a *Error.
type Table struct {
	name     string
	r        *csv.Reader
	comma    rune // between columns
	columns  []string
	at       map[string]int
	warnings []remark.Remark

	row  []string
	line int
}

// Open reads up to and with the first line, whose names are for the caller
// to check; required is what it should hold. Lines that begin with # are passed
// over, and a byte order mark is.
func Open(r io.Reader, name string, required []string) (*Table, error) {
	br := bufio.NewReaderSize(io.LimitReader(r, maxImport+1), 1<<16)
	head, _ := br.Peek(1 << 16)
	if bytes.HasPrefix(head, []byte{0xff, 0xfe}) || bytes.HasPrefix(head, []byte{0xfe, 0xff}) {
		return nil, &Error{File: name, Err: errors.New("the file is in UTF-16; save it as CSV in UTF-8")}
	}
	if bytes.HasPrefix(head, []byte("\ufeff")) {
		_, _ = br.Discard(3)
		head = head[3:]
	}
	t := &Table{name: name, comma: csvComma(head), at: map[string]int{}}
	t.r = csv.NewReader(br)
	t.r.Comma, t.r.FieldsPerRecord, t.r.TrimLeadingSpace, t.r.ReuseRecord, t.r.Comment = t.comma, -1, t.comma != '\t', true, '#'
	if err := t.Next(); err != nil {
		if err == io.EOF {
			err = &Error{File: name, Err: fmt.Errorf("the file is empty; its first line must be %s", strings.Join(required, ","))}
		}
		return nil, err
	}
	t.columns = slices.Clone(t.row)
	return t, nil
}

// csvComma is what separates the columns of the first line that has any and is
// no comment.
func csvComma(head []byte) rune {
	for line := range bytes.Lines(head) {
		switch {
		case bytes.HasPrefix(line, []byte("#")):
		case bytes.ContainsRune(line, ';'):
			return ';'
		case bytes.ContainsRune(line, ','):
			return ','
		case bytes.ContainsRune(line, '\t'):
			return '\t'
		}
	}
	return ','
}

// Columns are the names in the first line, as they are written there.
func (t *Table) Columns() []string { return t.columns }

// Name gives column i of the rows a name, by which it is read.
func (t *Table) Name(column string, i int) { t.at[column] = i }

// Fail is an error at the present row; column may be empty.
func (t *Table) Fail(column, format string, args ...any) error {
	return &Error{File: t.name, Line: t.line, Column: column, Err: fmt.Errorf(format, args...)}
}

// Next reads the next row that is not blank; io.EOF at the end.
func (t *Table) Next() error {
	for {
		row, err := t.r.Read()
		if pe, ok := errors.AsType[*csv.ParseError](err); ok {
			t.line = pe.Line
			return t.Fail("", "%w", pe.Err)
		}
		if err == io.EOF {
			if t.r.InputOffset() > maxImport {
				return &Error{File: t.name, Err: errors.New("the file is over 1 GiB; split it")}
			}
			return io.EOF
		}
		if err != nil {
			return &Error{File: t.name, Err: err}
		}
		t.line, _ = t.r.FieldPos(0)
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		if slices.ContainsFunc(row, func(s string) bool { return s != "" }) {
			t.row = row
			return t.width()
		}
	}
}

func (t *Table) width() error {
	if t.columns == nil || len(t.row) == len(t.columns) {
		return nil
	}
	hint := ""
	if t.comma == ',' && len(t.row) > len(t.columns) {
		hint = "; if the decimals have commas, separate the columns with semicolons"
	}
	return t.Fail("", "%d values, the header has %d columns%s", len(t.row), len(t.columns), hint)
}

// Has reports whether a column was named.
func (t *Table) Has(column string) bool { _, ok := t.at[column]; return ok }

// Text is the present row's value of a column; empty if there is none.
func (t *Table) Text(column string) string {
	if i, ok := t.at[column]; ok {
		return t.row[i]
	}
	return ""
}

// Number is the present row's value of a column. ok is false for an empty
// field.
func (t *Table) Number(column string) (v float64, ok bool, err error) {
	s := t.Text(column)
	if s == "" {
		return 0, false, nil
	}
	plain := s
	if t.comma != ',' && !strings.Contains(s, ".") {
		plain = strings.Replace(s, ",", ".", 1)
	}
	v, ok = number.Parse(plain)
	if !ok {
		hint := "write a plain number, like -12.5"
		if t.comma == ',' && strings.Contains(s, ",") {
			hint = "a decimal comma needs semicolons between the columns"
		}
		return 0, false, t.Fail(column, "%.40q is not a number; %s", s, hint)
	}
	return v, true, nil
}

// Needed is a number that must be there.
func (t *Table) Needed(column string) (float64, error) {
	v, ok, err := t.Number(column)
	if err == nil && !ok {
		err = t.Fail(column, "the value is missing")
	}
	return v, err
}

// A Error places what is wrong in a CSV file. Line is 1-based, 0 for
// the file as a whole; Column is the name of the column, or empty.
type Error struct {
	File   string
	Line   int
	Column string
	Err    error
}

func (e *Error) Error() string {
	at := e.File
	if e.Line > 0 {
		at = fmt.Sprintf("%s:%d", at, e.Line)
	}
	if e.Column != "" {
		at += ": column " + e.Column
	}
	return fmt.Sprintf("%s: %v", at, e.Err)
}

func (e *Error) Unwrap() error { return e.Err }
