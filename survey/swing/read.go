package swing

import (
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"quietmount/survey/csvfile"
)

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
		pose, err := ParsePose(t.Text("pose"))
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
	d := Dwell{MarkDeg: v, Name: HeadingName(v)}
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
