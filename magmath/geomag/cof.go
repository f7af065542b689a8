package geomag

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
)

// What can be wrong with a coefficient file. A *SyntaxError carries one of
// these and the line.
var (
	ErrHeader    = errors.New("the first line must give epoch, model name and release date")
	ErrRow       = errors.New("a row must give n m g h gdot hdot as plain decimal numbers")
	ErrDegree    = errors.New("degree or order out of range")
	ErrDuplicate = errors.New("degree and order given twice")
	ErrMissing   = errors.New("a degree is incomplete")
	ErrTruncated = errors.New("the closing line of nines is missing")
	ErrTrailing  = errors.New("text after the closing line of nines")
)

// SyntaxError places a fault in a coefficient file.
type SyntaxError struct {
	Name string // as given to ReadCOF
	Line int    // counted from 1
	Err  error
}

func (e *SyntaxError) Error() string { return fmt.Sprintf("%s:%d: %v", e.Name, e.Line, e.Err) }
func (e *SyntaxError) Unwrap() error { return e.Err }

const (
	// maxDegree bounds what a file can make the reader store.
	maxDegree = 800
	// maxLine bounds a line; the standard one has 48 characters.
	maxLine = 256
	// largestNT bounds a coefficient, so that every sum stays finite; the
	// largest of the Earth is 3e4 nT.
	largestNT = 1e7
)

// row is one line of coefficients.
type row struct {
	n, m             int
	g, h, gDot, hDot float64
}

// ReadCOF reads a model from a file in the layout of the World Magnetic Model's
// WMM.COF: a line with epoch, name and release date (which may be missing),
// one row "n m g h gdot hdot" for every order of every degree from 1, in any
// sequence, and one or more closing lines of nines, after which only blank
// lines may come. name is used in messages only. Any degree to 800 is taken.
//
// A fault is a *SyntaxError that wraps one of the Err values; a failure of r is
// returned wrapped.
func ReadCOF(r io.Reader, name string) (*Model, error) {
	c := cofReader{lines: bufio.NewScanner(r), name: name}
	c.lines.Buffer(make([]byte, 0, maxLine), maxLine)
	m, err := c.header()
	if err != nil {
		return nil, err
	}
	rows, err := c.rows()
	if err != nil {
		return nil, err
	}
	if err := c.rest(); err != nil {
		return nil, err
	}
	if err := m.fill(rows); err != nil {
		return nil, c.fault(err)
	}
	return m, nil
}

type cofReader struct {
	lines *bufio.Scanner
	name  string
	line  int
}

func (c *cofReader) fault(err error) error { return &SyntaxError{c.name, c.line, err} }

// next is the fields of the next line; ok is false at the end of the input.
func (c *cofReader) next() (fields []string, ok bool, err error) {
	if !c.lines.Scan() {
		switch err := c.lines.Err(); {
		case errors.Is(err, bufio.ErrTooLong):
			c.line++
			return nil, false, c.fault(fmt.Errorf("%w: line longer than %d characters", ErrRow, maxLine))
		case err != nil:
			return nil, false, fmt.Errorf("read %s: %w", c.name, err)
		}
		return nil, false, nil
	}
	c.line++
	return strings.Fields(c.lines.Text()), true, nil
}

func (c *cofReader) header() (*Model, error) {
	f, _, err := c.next()
	if err != nil {
		return nil, err
	}
	if len(f) < 2 || len(f) > 3 {
		c.line = max(c.line, 1)
		return nil, c.fault(ErrHeader)
	}
	epoch, ok := decimal(f[0])
	if !ok || epoch < 1900 || epoch > 2100 {
		return nil, c.fault(fmt.Errorf("%w: %q is no epoch between 1900 and 2100", ErrHeader, f[0]))
	}
	return &Model{epoch: epoch, name: f[1]}, nil
}

// rows reads up to and including the first line of nines.
func (c *cofReader) rows() ([]row, error) {
	var rows []row
	for {
		f, ok, err := c.next()
		switch {
		case err != nil:
			return nil, err
		case !ok:
			return nil, c.fault(ErrTruncated)
		case nines(f):
			return rows, nil
		}
		v, err := parseRow(f)
		if err != nil {
			return nil, c.fault(err)
		}
		rows = append(rows, v)
		if len(rows) > maxDegree*(maxDegree+3)/2 {
			return nil, c.fault(fmt.Errorf("%w: more rows than degree %d has", ErrDegree, maxDegree))
		}
	}
}

// rest makes sure that nothing but nines and blank lines is left over.
func (c *cofReader) rest() error {
	for {
		f, ok, err := c.next()
		switch {
		case err != nil:
			return err
		case !ok:
			return nil
		case len(f) > 0 && !nines(f):
			return c.fault(ErrTrailing)
		}
	}
}

// nines reports a closing line: one word of at least ten nines and nothing
// else, more than any number in a row has.
func nines(f []string) bool {
	return len(f) == 1 && len(f[0]) >= 10 && strings.Trim(f[0], "9") == ""
}

func parseRow(f []string) (row, error) {
	if len(f) != 6 {
		return row{}, fmt.Errorf("%w: found %d columns", ErrRow, len(f))
	}
	var v row
	var err error
	if v.n, err = index(f[0]); err != nil {
		return row{}, err
	}
	if v.m, err = index(f[1]); err != nil {
		return row{}, err
	}
	if v.n < 1 || v.n > maxDegree || v.m > v.n {
		return row{}, fmt.Errorf("%w: n = %d, m = %d", ErrDegree, v.n, v.m)
	}
	for i, to := range []*float64{&v.g, &v.h, &v.gDot, &v.hDot} {
		x, ok := decimal(f[2+i])
		if !ok || x > largestNT || x < -largestNT {
			return row{}, fmt.Errorf("%w: %q is no coefficient", ErrRow, f[2+i])
		}
		*to = x
	}
	if v.m == 0 && (v.h != 0 || v.hDot != 0) {
		return row{}, fmt.Errorf("%w: order 0 has no h", ErrRow)
	}
	return v, nil
}

func index(s string) (int, error) {
	if len(s) > 4 || strings.Trim(s, "0123456789") != "" {
		return 0, fmt.Errorf("%w: %q is no degree or order", ErrRow, s)
	}
	return strconv.Atoi(s)
}

// decimal reads a plain decimal number: an optional sign, digits, at most one
// point; no exponent, no underscore, nothing that is not a number.
func decimal(s string) (float64, bool) {
	digits := strings.TrimLeft(s, "+-")
	if len(s) > 24 || strings.Trim(digits, "0123456789.") != "" {
		return 0, false
	}
	v, err := strconv.ParseFloat(s, 64)
	return v, err == nil
}

// fill stores the rows, each degree and order exactly once.
func (m *Model) fill(rows []row) error {
	for _, v := range rows {
		m.degree = max(m.degree, v.n)
	}
	want := m.degree * (m.degree + 3) / 2
	if len(rows) < want || m.degree == 0 {
		return fmt.Errorf("%w: degree %d needs %d rows, found %d", ErrMissing, m.degree, want, len(rows))
	}
	m.terms = newTerms(m.degree)
	seen := make([]bool, want)
	for _, v := range rows {
		i := position(m.degree, v.n, v.m)
		if seen[i] {
			return fmt.Errorf("%w: n = %d, m = %d", ErrDuplicate, v.n, v.m)
		}
		seen[i] = true
		t := &m.terms[i]
		t.g, t.h, t.gDot, t.hDot = v.g, v.h, v.gDot, v.hDot
	}
	return nil
}
