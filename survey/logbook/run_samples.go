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

// The columns of a sample, in run files and in CSV alike.
const (
	ColTS       = "t_s"
	ColBX       = "bx_ut"
	ColBY       = "by_ut"
	ColBZ       = "bz_ut"
	ColAX       = "ax_g"
	ColAY       = "ay_g"
	ColAZ       = "az_g"
	ColCurrentA = "current_a"
	ColLoadOn   = "load_on"
)

// SampleColumns are the columns that samples need: the optional ones only if
// at least one sample has them.
func SampleColumns(samples []survey.Sample) (columns []string, has survey.Has) {
	for _, s := range samples {
		has |= s.Has
	}
	columns = []string{ColTS, ColBX, ColBY, ColBZ}
	if has&survey.HasAcc != 0 {
		columns = append(columns, ColAX, ColAY, ColAZ)
	}
	if has&survey.HasCurrent != 0 {
		columns = append(columns, ColCurrentA)
	}
	if has&survey.HasLoadOn != 0 {
		columns = append(columns, ColLoadOn)
	}
	return columns, has
}

// check refuses what no file can carry.
func check(s survey.Sample) error {
	ok := number.Finite(s.TS, s.B.X, s.B.Y, s.B.Z)
	if s.Has&survey.HasAcc != 0 {
		ok = ok && number.Finite(s.Acc.X, s.Acc.Y, s.Acc.Z)
	}
	if s.Has&survey.HasCurrent != 0 {
		ok = ok && number.Finite(s.CurrentA)
	}
	if !ok {
		return fmt.Errorf("the sample at %g s holds a value that is not a finite number", s.TS)
	}
	return nil
}

// encodeSamples is a JSON array of rows. Every number is the shortest text
// that reads back as the same number; what a sample lacks is null.
func encodeSamples(samples []survey.Sample) (columns []string, rows []byte, err error) {
	columns, has := SampleColumns(samples)
	b := make([]byte, 0, 2+len(samples)*len(columns)*12)
	b = append(b, '[')
	for i, s := range samples {
		if err := check(s); err != nil {
			return nil, nil, err
		}
		if i > 0 {
			b = append(b, ',')
		}
		b = appendSample(append(b, '['), s, has)
		b = append(b, ']')
	}
	return columns, append(b, ']'), nil
}

func appendSample(b []byte, s survey.Sample, has survey.Has) []byte {
	b = appendNumbers(b, s.TS, s.B.X, s.B.Y, s.B.Z)
	if has&survey.HasAcc != 0 {
		b = append(b, ',')
		if s.Has&survey.HasAcc != 0 {
			b = appendNumbers(b, s.Acc.X, s.Acc.Y, s.Acc.Z)
		} else {
			b = append(b, "null,null,null"...)
		}
	}
	if has&survey.HasCurrent != 0 {
		b = append(b, ',')
		if s.Has&survey.HasCurrent != 0 {
			b = appendNumbers(b, s.CurrentA)
		} else {
			b = append(b, "null"...)
		}
	}
	if has&survey.HasLoadOn != 0 {
		switch {
		case s.Has&survey.HasLoadOn == 0:
			b = append(b, ",null"...)
		case s.LoadOn:
			b = append(b, ",1"...)
		default:
			b = append(b, ",0"...)
		}
	}
	return b
}

func appendNumbers(b []byte, x ...float64) []byte {
	for i, v := range x {
		if i > 0 {
			b = append(b, ',')
		}
		b = strconv.AppendFloat(b, v, 'g', -1, 64)
	}
	return b
}

// sampleSetter stores one number of a row; nil skips a column.
type sampleSetter func(*survey.Sample, float64) error

func SetterOf(column string) sampleSetter {
	part := func(p func(*survey.Sample) *float64, has survey.Has) sampleSetter {
		return func(s *survey.Sample, v float64) error { *p(s) = v; s.Has |= has; return nil }
	}
	switch column {
	case ColTS:
		return part(func(s *survey.Sample) *float64 { return &s.TS }, 0)
	case ColBX:
		return part(func(s *survey.Sample) *float64 { return &s.B.X }, 0)
	case ColBY:
		return part(func(s *survey.Sample) *float64 { return &s.B.Y }, 0)
	case ColBZ:
		return part(func(s *survey.Sample) *float64 { return &s.B.Z }, 0)
	case ColAX:
		return part(func(s *survey.Sample) *float64 { return &s.Acc.X }, survey.HasAcc)
	case ColAY:
		return part(func(s *survey.Sample) *float64 { return &s.Acc.Y }, survey.HasAcc)
	case ColAZ:
		return part(func(s *survey.Sample) *float64 { return &s.Acc.Z }, survey.HasAcc)
	case ColCurrentA:
		return part(func(s *survey.Sample) *float64 { return &s.CurrentA }, survey.HasCurrent)
	case ColLoadOn:
		return setLoadOn
	}
	return nil
}

func setLoadOn(s *survey.Sample, v float64) error {
	if v != 0 && v != 1 {
		return fmt.Errorf("load_on is %g; it must be 0 or 1", v)
	}
	s.LoadOn, s.Has = v == 1, s.Has|survey.HasLoadOn
	return nil
}

// decodeSamples reads rows back. Columns that this version does not know are
// passed over.
func decodeSamples(columns []string, rows json.RawMessage) ([]survey.Sample, error) {
	setters := make([]sampleSetter, len(columns))
	for i, c := range columns {
		if slices.Contains(columns[:i], c) {
			return nil, fmt.Errorf("column %q twice", c)
		}
		setters[i] = SetterOf(c)
	}
	for _, c := range []string{ColTS, ColBX, ColBY, ColBZ} {
		if !slices.Contains(columns, c) {
			return nil, fmt.Errorf("no column %q", c)
		}
	}
	if len(rows) == 0 || bytes.Equal(rows, []byte("null")) {
		return nil, errors.New("no samples")
	}
	p := rowParser{b: rows}
	var samples []survey.Sample
	if err := p.list(func() error {
		s, err := p.sample(columns, setters)
		samples = append(samples, s)
		return err
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

func (p *rowParser) sample(columns []string, setters []sampleSetter) (survey.Sample, error) {
	var s survey.Sample
	n := 0
	err := p.list(func() error {
		if n == len(setters) {
			return fmt.Errorf("more values than the %d columns", len(columns))
		}
		v, null, err := p.number()
		set, name := setters[n], columns[n]
		n++
		switch {
		case err != nil && set != nil:
			return fmt.Errorf("%s: %w", name, err)
		case null && (name == ColTS || name == ColBX || name == ColBY || name == ColBZ):
			return fmt.Errorf("%s is missing", name)
		case err != nil || null || set == nil:
			return nil
		}
		return set(&s, v)
	})
	if err == nil && n != len(setters) {
		err = fmt.Errorf("%d values for %d columns", n, len(columns))
	}
	return s, err
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
