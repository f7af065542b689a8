package csvfile

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/disk"
)

// calibrationColumns are the names that a column of a file of calibration
// readings may have; read only. The first is the one to write.
func calibrationColumns() [4][]string {
	return [4][]string{
		{"t_s", "time_s", "t", "time"},
		{"bx", "bx_ut", "mx", "mx_ut", "x", "x_ut"},
		{"by", "by_ut", "my", "my_ut", "y", "y_ut"},
		{"bz", "bz_ut", "mz", "mz_ut", "z", "z_ut"},
	}
}

// ReadCalibration reads readings of a probe being turned: a header t_s,bx,
// by,bz (or with _ut), then one row a reading in microtesla and sensor axes.
// Semicolons with decimal commas, tabs, a byte order mark and capital letters
// are taken; other columns are passed over. name is used in messages. What is
// wrong is a *Error with line and column.
func ReadCalibration(ctx context.Context, r io.Reader, name string) ([]survey.Sample, error) {
	t, err := Open(disk.Reader(ctx, r), name, []string{"t_s", "bx", "by", "bz"})
	if err != nil {
		return nil, err
	}
	columns, err := t.calibrationHeader()
	if err != nil {
		return nil, err
	}
	var out []survey.Sample
	for {
		err := t.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return nil, err
		}
		s, err := t.calibrationRow(columns)
		if err != nil {
			return nil, err
		}
		if n := len(out); n > 0 && s.TS < out[n-1].TS {
			return nil, t.Fail(columns[0], "the time runs backwards (from %g to %g s); sort the rows", out[n-1].TS, s.TS)
		}
		out = append(out, s)
	}
	if len(out) == 0 {
		return nil, &Error{File: name, Err: errors.New("a header but no readings")}
	}
	return out, nil
}

// calibrationHeader finds the four columns by any of their names.
func (t *Table) calibrationHeader() (columns [4]string, err error) {
	for i, raw := range t.columns {
		name := strings.ToLower(raw)
		for k, names := range calibrationColumns() {
			if !slices.Contains(names, name) {
				continue
			}
			if columns[k] != "" {
				return columns, t.Fail(name, "there is a column %s too, and both say %s; remove one", columns[k], names[0])
			}
			columns[k] = name
			t.at[name] = i
		}
	}
	for k, names := range calibrationColumns() {
		if columns[k] == "" {
			return columns, t.Fail(names[0], "the column is missing; the header must be t_s,bx,by,bz")
		}
	}
	return columns, nil
}

func (t *Table) calibrationRow(columns [4]string) (survey.Sample, error) {
	var v [4]float64
	for k, name := range columns {
		x, err := t.Needed(name)
		if err != nil {
			return survey.Sample{}, err
		}
		v[k] = x
	}
	return survey.Sample{TS: v[0], B: r3.Vec{X: v[1], Y: v[2], Z: v[3]}}, nil
}
