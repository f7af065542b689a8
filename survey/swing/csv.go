package swing

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// A CSVError places what is wrong in a file. Line is 1-based, 0 for the file
// as a whole; Column is the name of the column, or empty.
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

// maxCSV bounds a file: some million samples.
const maxCSV = 256 << 20

// table reads a CSV file row by row.
type table struct {
	name  string
	r     *csv.Reader
	comma rune
	at    map[string]int
	row   []string
	line  int
}

// openTable reads up to and with the header. Units may be left off the names
// of field and acceleration: bx stands for bx_ut.
func openTable(r io.Reader, name string, known []string) (*table, error) {
	br := bufio.NewReaderSize(io.LimitReader(r, maxCSV+1), 1<<16)
	head, _ := br.Peek(1 << 12)
	if bytes.HasPrefix(head, []byte("\ufeff")) {
		_, _ = br.Discard(3)
	}
	t := &table{name: name, comma: commaOf(head), at: map[string]int{}}
	t.r = csv.NewReader(br)
	t.r.Comma, t.r.FieldsPerRecord, t.r.TrimLeadingSpace, t.r.Comment = t.comma, -1, t.comma != '\t', '#'
	if err := t.next(); err != nil {
		if err == io.EOF {
			err = &CSVError{File: name, Err: errors.New("the file is empty")}
		}
		return nil, err
	}
	for i, raw := range t.row {
		column := strings.ToLower(raw)
		if full, ok := shortNames()[column]; ok {
			column = full
		}
		if !slices.Contains(known, column) {
			if near := survey.Nearest(column, known); column != "" && near != "" {
				return nil, t.fail(column, "the column is not known; is %s meant?", near)
			}
			continue
		}
		if _, twice := t.at[column]; twice {
			return nil, t.fail(column, "the column is there twice")
		}
		t.at[column] = i
	}
	return t, nil
}

func shortNames() map[string]string {
	return map[string]string{
		"bx": "bx_ut", "by": "by_ut", "bz": "bz_ut", "ax": "ax_g", "ay": "ay_g", "az": "az_g",
		"t": "t_s", "heading": "heading_deg", "compass": "compass_deg", "sun": "sun_deg",
	}
}

func commaOf(head []byte) rune {
	for line := range bytes.Lines(head) {
		if bytes.HasPrefix(bytes.TrimSpace(line), []byte("#")) {
			continue
		}
		for _, c := range []rune{';', ',', '\t'} {
			if bytes.ContainsRune(line, c) {
				return c
			}
		}
	}
	return ','
}

func (t *table) fail(column, format string, args ...any) error {
	return &CSVError{File: t.name, Line: t.line, Column: column, Err: fmt.Errorf(format, args...)}
}

// next reads the next row that is not blank; io.EOF at the end.
func (t *table) next() error {
	for {
		row, err := t.r.Read()
		if pe, ok := errors.AsType[*csv.ParseError](err); ok {
			t.line = pe.Line
			return t.fail("", "%w", pe.Err)
		}
		if err == io.EOF {
			return io.EOF
		}
		if err != nil {
			return &CSVError{File: t.name, Err: err}
		}
		t.line, _ = t.r.FieldPos(0)
		for i := range row {
			row[i] = strings.TrimSpace(row[i])
		}
		if !slices.ContainsFunc(row, func(s string) bool { return s != "" }) {
			continue
		}
		if t.row != nil && len(row) != len(t.row) {
			return t.fail("", "%d values, the header has %d columns", len(row), len(t.row))
		}
		t.row = row
		return nil
	}
}

func (t *table) has(column string) bool { _, ok := t.at[column]; return ok }

// need demands columns.
func (t *table) need(columns ...string) error {
	for _, c := range columns {
		if !t.has(c) {
			return t.fail(c, "the column is missing; the header wants %s", strings.Join(columns, ","))
		}
	}
	return nil
}

func (t *table) text(column string) string {
	if i, ok := t.at[column]; ok {
		return t.row[i]
	}
	return ""
}

// number is the present row's value of a column that must be there.
func (t *table) number(column string) (float64, error) {
	s := t.text(column)
	plain := s
	if t.comma != ',' && !strings.Contains(s, ".") {
		plain = strings.Replace(s, ",", ".", 1)
	}
	v, err := strconv.ParseFloat(plain, 64)
	if err != nil || math.IsNaN(v) || math.Abs(v) > 1e9 || strings.ContainsAny(plain, "xXpP_") {
		if s == "" {
			return 0, t.fail(column, "the value is missing")
		}
		return 0, t.fail(column, "%.40q is not a number; write a plain number, like -12.5", s)
	}
	return v, nil
}

func (t *table) vector(columns [3]string) (r3.Vec, error) {
	var v [3]float64
	for i, c := range columns {
		x, err := t.number(c)
		if err != nil {
			return r3.Vec{}, err
		}
		v[i] = x
	}
	return r3.Vec{X: v[0], Y: v[1], Z: v[2]}, nil
}

var (
	fieldColumns = [3]string{"bx_ut", "by_ut", "bz_ut"}
	accColumns   = [3]string{"ax_g", "ay_g", "az_g"}
)

// sample is the present row's reading.
func (t *table) sample() (survey.Sample, error) {
	var s survey.Sample
	var err error
	if s.TS, err = t.number("t_s"); err != nil {
		return s, err
	}
	if s.B, err = t.vector(fieldColumns); err != nil {
		return s, err
	}
	if t.has("ax_g") && t.text("ax_g")+t.text("ay_g")+t.text("az_g") != "" {
		if s.Acc, err = t.vector(accColumns); err != nil {
			return s, err
		}
		s.Has |= survey.HasAcc
	}
	return s, nil
}

func sampleColumns() []string {
	return []string{"t_s", "bx_ut", "by_ut", "bz_ut", "ax_g", "ay_g", "az_g"}
}

// wantsSamples demands the columns of samples, the accelerometer's all or
// none.
func (t *table) wantsSamples(also ...string) error {
	if err := t.need(append(also, "t_s", "bx_ut", "by_ut", "bz_ut")...); err != nil {
		return err
	}
	if t.has("ax_g") || t.has("ay_g") || t.has("az_g") {
		return t.need(accColumns[:]...)
	}
	return nil
}

// add puts a sample to the dwell of its name: the last one if the name goes
// on, else a new one. A clock that runs backwards within a dwell is refused.
func (t *table) add(dwells []Dwell, d Dwell, s survey.Sample) ([]Dwell, error) {
	n := len(dwells)
	if n == 0 || dwells[n-1].Name != d.Name {
		dwells = append(dwells, d)
		n++
	}
	last := &dwells[n-1]
	if k := len(last.Samples); k > 0 && s.TS < last.Samples[k-1].TS {
		return nil, t.fail("t_s", "the time runs backwards within %s; sort the rows", d.Name)
	}
	last.Samples = append(last.Samples, s)
	return dwells, nil
}
