package survey

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
)

// The columns that belong to a capture rather than to a sample.
const (
	colCapture  = "capture"
	colStation  = "station"
	colX        = "x_mm"
	colY        = "y_mm"
	colZ        = "z_mm"
	colPromptOn = "prompt_on"
)

func importRequired() []string {
	return []string{colCapture, colStation, colTS, colBX, colBY, colBZ}
}

func importOptional() []string {
	return []string{colAX, colAY, colAZ, colCurrentA, colLoadOn, colX, colY, colZ, colPromptOn}
}

// maxImport bounds a CSV file; it is some ten million samples.
const maxImport = 1 << 30

// csvTable reads a CSV file row by row.
type csvTable struct {
	name     string
	r        *csv.Reader
	comma    rune // between columns
	columns  []string
	at       map[string]int
	warnings []string

	row  []string
	line int
}

// openTable reads up to and with the header line of a run.
func openTable(r io.Reader, name string) (*csvTable, error) {
	t, err := openRows(r, name, importRequired())
	if err != nil {
		return nil, err
	}
	return t, t.header()
}

// openRows reads up to and with the first line, whose names are for the caller
// to check; required is what it should hold.
func openRows(r io.Reader, name string, required []string) (*csvTable, error) {
	br := bufio.NewReaderSize(io.LimitReader(r, maxImport+1), 1<<16)
	head, _ := br.Peek(1 << 16)
	if bytes.HasPrefix(head, []byte{0xff, 0xfe}) || bytes.HasPrefix(head, []byte{0xfe, 0xff}) {
		return nil, &ImportError{File: name, Err: errors.New("the file is in UTF-16; save it as CSV in UTF-8")}
	}
	if bytes.HasPrefix(head, []byte("\ufeff")) {
		_, _ = br.Discard(3)
	}
	t := &csvTable{name: name, comma: csvComma(head), at: map[string]int{}}
	t.r = csv.NewReader(br)
	t.r.Comma, t.r.FieldsPerRecord, t.r.TrimLeadingSpace, t.r.ReuseRecord = t.comma, -1, t.comma != '\t', true
	if err := t.next(); err != nil {
		if err == io.EOF {
			err = &ImportError{File: name, Err: fmt.Errorf("the file is empty; its first line must be %s", strings.Join(required, ","))}
		}
		return nil, err
	}
	t.columns = slices.Clone(t.row)
	return t, nil
}

// csvComma is what separates the columns of the first line that has any.
func csvComma(head []byte) rune {
	for line := range bytes.Lines(head) {
		switch {
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

func (t *csvTable) fail(column, format string, args ...any) error {
	return &ImportError{File: t.name, Line: t.line, Column: column, Err: fmt.Errorf(format, args...)}
}

// next reads the next row that is not blank; io.EOF at the end.
func (t *csvTable) next() error {
	for {
		row, err := t.r.Read()
		if pe, ok := errors.AsType[*csv.ParseError](err); ok {
			t.line = pe.Line
			return t.fail("", "%w", pe.Err)
		}
		if err == io.EOF {
			if t.r.InputOffset() > maxImport {
				return &ImportError{File: t.name, Err: errors.New("the file is over 1 GiB; split it")}
			}
			return io.EOF
		}
		if err != nil {
			return &ImportError{File: t.name, Err: err}
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

func (t *csvTable) width() error {
	if t.columns == nil || len(t.row) == len(t.columns) {
		return nil
	}
	hint := ""
	if t.comma == ',' && len(t.row) > len(t.columns) {
		hint = "; if the decimals have commas, separate the columns with semicolons"
	}
	return t.fail("", "%d values, the header has %d columns%s", len(t.row), len(t.columns), hint)
}

// header checks the names of the columns.
func (t *csvTable) header() error {
	known := append(importRequired(), importOptional()...)
	for i, raw := range t.columns {
		name := strings.ToLower(raw)
		if slices.Contains(known, name) {
			if _, twice := t.at[name]; twice {
				return t.fail(name, "the column is there twice")
			}
			t.at[name] = i
			continue
		}
		if err := t.unknown(name, known); err != nil {
			return err
		}
	}
	for _, name := range importRequired() {
		if !t.has(name) {
			return t.fail(name, "the column is missing; the header must be %s, then any of %s",
				strings.Join(importRequired(), ","), strings.Join(importOptional(), ","))
		}
	}
	for _, group := range [][]string{{colAX, colAY, colAZ}, {colX, colY, colZ}} {
		if err := t.together(group); err != nil {
			return err
		}
	}
	return nil
}

// unknown refuses a name that is nearly a known one and passes over others.
func (t *csvTable) unknown(name string, known []string) error {
	if name == "" {
		return nil
	}
	if near := Nearest(name, known); near != "" && !t.named(near) {
		return t.fail(name, "the column is not known; is %s meant? Rename it, or remove the column", near)
	}
	t.warn("column %s is not known and was left out", name)
	return nil
}

func (t *csvTable) named(name string) bool {
	return slices.ContainsFunc(t.columns, func(s string) bool { return strings.EqualFold(s, name) })
}

func (t *csvTable) together(group []string) error {
	n := 0
	for _, name := range group {
		if t.has(name) {
			n++
		}
	}
	if n != 0 && n != len(group) {
		return t.fail("", "%s belong together: give all of them or none", strings.Join(group, ", "))
	}
	return nil
}

func (t *csvTable) has(column string) bool { _, ok := t.at[column]; return ok }

// text is the present row's value of a column; empty if there is none.
func (t *csvTable) text(column string) string {
	if i, ok := t.at[column]; ok {
		return t.row[i]
	}
	return ""
}

// number is the present row's value of a column. ok is false for an empty
// field.
func (t *csvTable) number(column string) (v float64, ok bool, err error) {
	s := t.text(column)
	if s == "" {
		return 0, false, nil
	}
	plain := s
	if t.comma != ',' && !strings.Contains(s, ".") {
		plain = strings.Replace(s, ",", ".", 1)
	}
	v, perr := strconv.ParseFloat(plain, 64)
	if perr != nil || !finite(v) || !plainNumber(plain) {
		hint := "write a plain number, like -12.5"
		if t.comma == ',' && strings.Contains(s, ",") {
			hint = "a decimal comma needs semicolons between the columns"
		}
		return 0, false, t.fail(column, "%.40q is not a number; %s", s, hint)
	}
	return v, true, nil
}

// needed is a number that must be there.
func (t *csvTable) needed(column string) (float64, error) {
	v, ok, err := t.number(column)
	if err == nil && !ok {
		err = t.fail(column, "the value is missing")
	}
	return v, err
}
