package swing

import (
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/csvfile"
)

// table is a CSV file of an arrow check or a swing.
type table struct{ *csvfile.Table }

// openTable reads up to and with the header. Units may be left off the names
// of field and acceleration: bx stands for bx_ut. Columns that are nearly known
// are refused, others passed over.
func openTable(r io.Reader, name string, known []string) (*table, error) {
	rows, err := csvfile.Open(r, name, known)
	if err != nil {
		return nil, err
	}
	t := &table{rows}
	for i, raw := range t.Columns() {
		column := strings.ToLower(raw)
		if full, ok := shortNames()[column]; ok {
			column = full
		}
		if !slices.Contains(known, column) {
			if near := survey.Nearest(column, known); near != "" {
				return nil, t.Fail(column, "the column is not known; is %s meant?", near)
			}
			continue
		}
		if t.Has(column) {
			return nil, t.Fail(column, "the column is there twice")
		}
		t.Name(column, i)
	}
	return t, nil
}

func shortNames() map[string]string {
	return map[string]string{
		"bx": "bx_ut", "by": "by_ut", "bz": "bz_ut", "ax": "ax_g", "ay": "ay_g", "az": "az_g",
		"t": "t_s", "heading": "heading_deg", "compass": "compass_deg", "sun": "sun_deg",
	}
}

// need demands columns.
func (t *table) need(columns ...string) error {
	for _, c := range columns {
		if !t.Has(c) {
			return t.Fail(c, "the column is missing; the header wants %s", strings.Join(columns, ","))
		}
	}
	return nil
}

// number returns the present row's value of a column that must be there.
func (t *table) number(column string) (float64, error) {
	v, err := t.Needed(column)
	if err == nil && math.Abs(v) > mostNumber {
		err = t.Fail(column, "%g is out of all reason", v)
	}
	return v, err
}

// mostNumber: no reading, heading or time is larger.
const mostNumber = 1e9

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

// sample returns the present row's reading.
func (t *table) sample() (survey.Sample, error) {
	var s survey.Sample
	var err error
	if s.TS, err = t.number("t_s"); err != nil {
		return s, err
	}
	if s.B, err = t.vector(fieldColumns); err != nil {
		return s, err
	}
	if t.Has("ax_g") && t.Text("ax_g")+t.Text("ay_g")+t.Text("az_g") != "" {
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
	if t.Has("ax_g") || t.Has("ay_g") || t.Has("az_g") {
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
		return nil, t.Fail("t_s", "the time runs backwards within %s; sort the rows", d.Name)
	}
	last.Samples = append(last.Samples, s)
	return dwells, nil
}

// ReadArrow reads an arrow check: pose,t_s,bx_ut,by_ut,bz_ut and if you like
// ax_g,ay_g,az_g; one row a sample, rows of one pose together. Fields are in
// sensor axes. Every error about the content is a *csvfile.Error.
func ReadArrow(r io.Reader, name string) ([]Dwell, error) {
	t, err := openTable(r, name, append(sampleColumns(), "pose"))
	if err == nil {
		err = t.wantsSamples("pose")
	}
	if err != nil {
		return nil, err
	}
	var out []Dwell
	for {
		if err := t.Next(); err == io.EOF {
			break
		} else if err != nil {
			return nil, err
		}
		pose, err := parsePose(t.Text("pose"))
		if err != nil {
			return nil, t.Fail("pose", "%w", err)
		}
		s, err := t.sample()
		if err != nil {
			return nil, err
		}
		if out, err = t.add(out, Dwell{Name: string(pose)}, s); err != nil {
			return nil, err
		}
	}
	if len(out) == 0 {
		return nil, &csvfile.Error{File: name, Err: errors.New("there are no samples below the header")}
	}
	return out, nil
}

// ReadHeadings reads a swing: heading_deg,compass_deg with a row a heading, or
// heading_deg,t_s,bx_ut,by_ut,bz_ut and if you like ax_g,ay_g,az_g with a row a
// sample, rows of one heading together. In place of heading_deg, sun_deg is
// the bearing of the sun from the nose, clockwise; t_s then counts from start.
// Every error about the content is a *csvfile.Error.
func ReadHeadings(r io.Reader, name string, start time.Time) ([]Dwell, error) {
	t, err := openTable(r, name, append(sampleColumns(), "heading_deg", "compass_deg", "sun_deg"))
	if err != nil {
		return nil, err
	}
	key := "heading_deg"
	if t.Has("sun_deg") && !t.Has(key) {
		key = "sun_deg"
	}
	if t.Has("compass_deg") {
		err = t.need(key, "compass_deg")
		if key == "sun_deg" {
			err = t.need(key, "compass_deg", "t_s")
		}
	} else {
		err = t.wantsSamples(key)
	}
	if err != nil {
		return nil, err
	}
	var out []Dwell
	for {
		if err := t.Next(); err == io.EOF {
			break
		} else if err != nil {
			return nil, err
		}
		if out, err = t.heading(out, key, start); err != nil {
			return nil, err
		}
	}
	if len(out) == 0 {
		return nil, &csvfile.Error{File: name, Err: errors.New("there are no headings below the header")}
	}
	return out, nil
}

// heading takes the present row of a swing.
func (t *table) heading(out []Dwell, key string, start time.Time) ([]Dwell, error) {
	v, err := t.number(key)
	if err != nil {
		return nil, err
	}
	if math.Abs(v) > 360 {
		return nil, t.Fail(key, "%g is no heading: give degrees, 0 to 360", v)
	}
	d := Dwell{MarkDeg: v, Name: headingName(v)}
	if key == "sun_deg" {
		at, err := t.number("t_s")
		if err != nil {
			return nil, err
		}
		d.SunDeg, d.Time, d.Name = &v, start.Add(time.Duration(at*float64(time.Second))), fmt.Sprintf("sun at %g", v)
	}
	if t.Has("compass_deg") {
		c, err := t.number("compass_deg")
		if err != nil {
			return nil, err
		}
		if math.Abs(c) > 360 {
			return nil, t.Fail("compass_deg", "%g is no heading: give degrees, 0 to 360", c)
		}
		d.CompassDeg = &c
		return append(out, d), nil
	}
	s, err := t.sample()
	if err != nil {
		return nil, err
	}
	return t.add(out, d, s)
}
