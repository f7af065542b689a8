package logbook

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"

	"quietmount/survey"
	"quietmount/survey/number"
)

// encodeSamples returns the names of the columns and a JSON array of rows. Every
// number is the shortest text that reads back as the same number; what a sample
// lacks is null. A number that is not finite is an error.
func encodeSamples(samples []survey.Sample) (names []string, rows []byte, err error) {
	columns := survey.ColumnsOf(samples)
	for _, c := range columns {
		names = append(names, c.Name)
	}
	b := make([]byte, 0, 2+len(samples)*len(columns)*12)
	b = append(b, '[')
	for i := range samples {
		if i > 0 {
			b = append(b, ',')
		}
		b = append(b, '[')
		for k, c := range columns {
			if k > 0 {
				b = append(b, ',')
			}
			v, ok := c.Value(&samples[i])
			switch {
			case !ok:
				b = append(b, "null"...)
			case !number.Finite(v):
				return nil, nil, fmt.Errorf("the sample at %g s holds a value that is not a finite number", samples[i].TS)
			default:
				b = strconv.AppendFloat(b, v, 'g', -1, 64)
			}
		}
		b = append(b, ']')
	}
	return names, append(b, ']'), nil
}

// decodeSamples reads rows back. Columns that this version does not know are
// passed over.
func decodeSamples(names []string, rows json.RawMessage) ([]survey.Sample, error) {
	known := survey.Columns()
	columns := make([]*survey.Column, len(names))
	for i, name := range names {
		if slices.Contains(names[:i], name) {
			return nil, fmt.Errorf("column %q twice", name)
		}
		if k := slices.IndexFunc(known, func(c survey.Column) bool { return c.Name == name }); k >= 0 {
			columns[i] = &known[k]
		}
	}
	for _, c := range known {
		if c.Has == 0 && !slices.Contains(names, c.Name) {
			return nil, fmt.Errorf("no column %q", c.Name)
		}
	}
	if len(rows) == 0 || bytes.Equal(rows, []byte("null")) {
		return nil, errors.New("no samples")
	}
	p := rowParser{b: rows}
	var samples []survey.Sample
	if err := p.list(func() error {
		samples = append(samples, survey.Sample{})
		return p.sample(&samples[len(samples)-1], columns)
	}); err != nil {
		return nil, fmt.Errorf("sample %d: %w", len(samples), err)
	}
	return samples, nil
}

// rowParser walks over JSON that encoding/json has already found to be well
// formed; it exists because a general decoder makes a slice for every row.
type rowParser struct {
	b []byte
	i int
}

func (p *rowParser) space() {
	for p.i < len(p.b) && (p.b[p.i] == ' ' || p.b[p.i] == '\t' || p.b[p.i] == '\r' || p.b[p.i] == '\n') {
		p.i++
	}
}

// take passes over c, reporting whether it was there.
func (p *rowParser) take(c byte) bool {
	p.space()
	if p.i < len(p.b) && p.b[p.i] == c {
		p.i++
		return true
	}
	return false
}

func (p *rowParser) list(item func() error) error {
	if !p.take('[') {
		return errors.New("a list is expected")
	}
	if p.take(']') {
		return nil
	}
	for {
		if err := item(); err != nil {
			return err
		}
		if p.take(']') {
			return nil
		}
		if !p.take(',') {
			return errors.New("a comma or the end of the list is expected")
		}
	}
}

// sample reads a row into s; a nil column is passed over.
func (p *rowParser) sample(s *survey.Sample, columns []*survey.Column) error {
	n := 0
	err := p.list(func() error {
		if n == len(columns) {
			return fmt.Errorf("more values than the %d columns", len(columns))
		}
		v, null, err := p.number()
		c := columns[n]
		n++
		switch {
		case c == nil:
			return nil
		case err != nil:
			return fmt.Errorf("%s: %w", c.Name, err)
		case null && c.Has == 0:
			return fmt.Errorf("%s is missing", c.Name)
		case null:
			return nil
		}
		return c.Set(s, v)
	})
	if err == nil && n != len(columns) {
		err = fmt.Errorf("%d values for %d columns", n, len(columns))
	}
	return err
}

// number reads a number or null. A value of another type is passed over with
// an error, as far as it is plain.
func (p *rowParser) number() (v float64, null bool, err error) {
	p.space()
	start := p.i
	for p.i < len(p.b) && !endsNumber(p.b[p.i]) {
		p.i++
	}
	word := p.b[start:p.i]
	if string(word) == "null" {
		return 0, true, nil
	}
	v, err = strconv.ParseFloat(string(word), 64) // makes no string: ParseFloat does not keep it
	if err != nil || !number.Finite(v) || !number.Plain(word) {
		return 0, false, fmt.Errorf("%.20q is not a finite number", word)
	}
	return v, false, nil
}

func endsNumber(c byte) bool {
	return c == ',' || c == ']' || c == ' ' || c == '\t' || c == '\r' || c == '\n'
}
