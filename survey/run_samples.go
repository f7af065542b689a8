package survey

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strconv"
)

// The columns of a sample, in run files and in CSV alike.
const (
	colTS       = "t_s"
	colBX       = "bx_ut"
	colBY       = "by_ut"
	colBZ       = "bz_ut"
	colAX       = "ax_g"
	colAY       = "ay_g"
	colAZ       = "az_g"
	colCurrentA = "current_a"
	colLoadOn   = "load_on"
)

// sampleColumns are the columns that samples need: the optional ones only if
// at least one sample has them.
func sampleColumns(samples []Sample) (columns []string, has Has) {
	for _, s := range samples {
		has |= s.Has
	}
	columns = []string{colTS, colBX, colBY, colBZ}
	if has&HasAcc != 0 {
		columns = append(columns, colAX, colAY, colAZ)
	}
	if has&HasCurrent != 0 {
		columns = append(columns, colCurrentA)
	}
	if has&HasLoadOn != 0 {
		columns = append(columns, colLoadOn)
	}
	return columns, has
}

// check refuses what no file can carry.
func (s Sample) check() error {
	ok := finite(s.TS, s.B.X, s.B.Y, s.B.Z)
	if s.Has&HasAcc != 0 {
		ok = ok && finite(s.Acc.X, s.Acc.Y, s.Acc.Z)
	}
	if s.Has&HasCurrent != 0 {
		ok = ok && finite(s.CurrentA)
	}
	if !ok {
		return fmt.Errorf("the sample at %g s holds a value that is not a finite number", s.TS)
	}
	return nil
}

// encodeSamples is a JSON array of rows. Every number is the shortest text
// that reads back as the same number; what a sample lacks is null.
func encodeSamples(samples []Sample) (columns []string, rows []byte, err error) {
	columns, has := sampleColumns(samples)
	b := make([]byte, 0, 2+len(samples)*len(columns)*12)
	b = append(b, '[')
	for i, s := range samples {
		if err := s.check(); err != nil {
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

func appendSample(b []byte, s Sample, has Has) []byte {
	b = appendNumbers(b, s.TS, s.B.X, s.B.Y, s.B.Z)
	if has&HasAcc != 0 {
		b = append(b, ',')
		if s.Has&HasAcc != 0 {
			b = appendNumbers(b, s.Acc.X, s.Acc.Y, s.Acc.Z)
		} else {
			b = append(b, "null,null,null"...)
		}
	}
	if has&HasCurrent != 0 {
		b = append(b, ',')
		if s.Has&HasCurrent != 0 {
			b = appendNumbers(b, s.CurrentA)
		} else {
			b = append(b, "null"...)
		}
	}
	if has&HasLoadOn != 0 {
		switch {
		case s.Has&HasLoadOn == 0:
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
type sampleSetter func(*Sample, float64) error

func setterOf(column string) sampleSetter {
	part := func(p func(*Sample) *float64, has Has) sampleSetter {
		return func(s *Sample, v float64) error { *p(s) = v; s.Has |= has; return nil }
	}
	switch column {
	case colTS:
		return part(func(s *Sample) *float64 { return &s.TS }, 0)
	case colBX:
		return part(func(s *Sample) *float64 { return &s.B.X }, 0)
	case colBY:
		return part(func(s *Sample) *float64 { return &s.B.Y }, 0)
	case colBZ:
		return part(func(s *Sample) *float64 { return &s.B.Z }, 0)
	case colAX:
		return part(func(s *Sample) *float64 { return &s.Acc.X }, HasAcc)
	case colAY:
		return part(func(s *Sample) *float64 { return &s.Acc.Y }, HasAcc)
	case colAZ:
		return part(func(s *Sample) *float64 { return &s.Acc.Z }, HasAcc)
	case colCurrentA:
		return part(func(s *Sample) *float64 { return &s.CurrentA }, HasCurrent)
	case colLoadOn:
		return setLoadOn
	}
	return nil
}

func setLoadOn(s *Sample, v float64) error {
	if v != 0 && v != 1 {
		return fmt.Errorf("load_on is %g; it must be 0 or 1", v)
	}
	s.LoadOn, s.Has = v == 1, s.Has|HasLoadOn
	return nil
}

// decodeSamples reads rows back. Columns that this version does not know are
// passed over.
func decodeSamples(columns []string, rows json.RawMessage) ([]Sample, error) {
	setters := make([]sampleSetter, len(columns))
	for i, c := range columns {
		if slices.Contains(columns[:i], c) {
			return nil, fmt.Errorf("column %q twice", c)
		}
		setters[i] = setterOf(c)
	}
	for _, c := range []string{colTS, colBX, colBY, colBZ} {
		if !slices.Contains(columns, c) {
			return nil, fmt.Errorf("no column %q", c)
		}
	}
	if len(rows) == 0 || bytes.Equal(rows, []byte("null")) {
		return nil, errors.New("no samples")
	}
	p := rowParser{b: rows}
	var samples []Sample
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

func (p *rowParser) sample(columns []string, setters []sampleSetter) (Sample, error) {
	var s Sample
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
		case null && (name == colTS || name == colBX || name == colBY || name == colBZ):
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
	if err != nil || !finite(v) || !plainNumber(word) {
		return 0, false, fmt.Errorf("%.20q is not a finite number", word)
	}
	return v, false, nil
}

func endsNumber(c byte) bool {
	return c == ',' || c == ']' || c == ' ' || c == '\t' || c == '\r' || c == '\n'
}
