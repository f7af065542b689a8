package link

import (
	"fmt"
	"math"
	"strings"
)

// DecodeOptions state what a stream does not. With the zero value the decoder
// detects everything.
type DecodeOptions struct {
	// Columns are the numbers of a line in order, with any separators; nil:
	// detect. See ParseColumns.
	Columns Columns
	// Scale is microtesla per printed unit, whatever unit is printed; 0: detect.
	Scale float64
	// ReferenceUT is the strength of the geomagnetic field at the place, which
	// helps to tell units apart; 0: not known.
	ReferenceUT float64
	// Sensor chooses among several sensors on one line; nil: the first seen.
	Sensor *int
	// KeepFirst keeps the first line. On a port it is dropped, since it is
	// mostly incomplete.
	KeepFirst bool
	// RateHz above 0 means that arrival times are not valid (a recorded stream)
	// and that samples without their own time come at this rate.
	RateHz float64
}

// Validate returns an error that names the first unusable option; nil if all
// are usable.
func (o DecodeOptions) Validate() error {
	for _, q := range []struct {
		name  string
		value float64
	}{{"scale", o.Scale}, {"reference field", o.ReferenceUT}, {"rate", o.RateHz}} {
		if math.IsNaN(q.value) || math.IsInf(q.value, 0) || q.value < 0 {
			return fmt.Errorf("%s %g: want a positive number", q.name, q.value)
		}
	}
	if o.Columns != nil {
		return o.Columns.complete()
	}
	return nil
}

// Columns are the columns of a line in order.
type Columns []Column

// Column is the meaning of one number of a line.
type Column struct {
	role role
	unit unit
	name string
}

// ParseColumns reads names separated by commas, one for each number in a line:
//
//	x y z        magnetic field
//	ax ay az     acceleration
//	t            time; t_s, t_ms, t_us state its unit
//	current      amperes through the load (also current_a)
//	on           1 while the load is on (also load_on)
//	id           number of the sensor, where several take turns
//	-            to be skipped
//
// x, y and z are required; only - may occur more than once.
func ParseColumns(s string) (Columns, error) {
	var out Columns
	for name := range strings.SplitSeq(s, ",") {
		c, err := parseColumn(strings.TrimSpace(name))
		if err != nil {
			return nil, fmt.Errorf("columns %q: %w", s, err)
		}
		out = append(out, c)
	}
	if err := out.complete(); err != nil {
		return nil, fmt.Errorf("columns %q: %w", s, err)
	}
	return out, nil
}

func parseColumn(name string) (Column, error) {
	c := Column{name: name}
	switch name {
	case "x", "y", "z":
		c.role = roleX + role(name[0]-'x')
	case "ax", "ay", "az":
		c.role = roleAX + role(name[1]-'x')
	case "t":
		c.role = roleT
	case "t_s":
		c.role, c.unit = roleT, unitS
	case "t_ms":
		c.role, c.unit = roleT, unitMS
	case "t_us":
		c.role, c.unit = roleT, unitUS
	case "current", "current_a":
		c.role = roleCurrent
	case "on", "load_on":
		c.role = roleOn
	case "id":
		c.role = roleID
	case "-":
	default:
		return c, fmt.Errorf("no column is called %q; the names are x y z ax ay az t t_s t_ms t_us current on id and - to skip", name)
	}
	return c, nil
}

func (cs Columns) complete() error {
	var seen [nRoles]bool
	for _, c := range cs {
		if c.role != roleNone && seen[c.role] {
			return fmt.Errorf("%q occurs twice", c.name)
		}
		seen[c.role] = true
	}
	if !seen[roleX] || !seen[roleY] || !seen[roleZ] {
		return fmt.Errorf("x, y and z must all be named")
	}
	if len(cs) > maxFields {
		return fmt.Errorf("%d columns, at most %d are read", len(cs), maxFields)
	}
	return nil
}

// String returns what ParseColumns reads.
func (cs Columns) String() string {
	names := make([]string, len(cs))
	for i, c := range cs {
		names[i] = c.name
	}
	return strings.Join(names, ",")
}

// columnsOf returns the columns for detected roles.
func columnsOf(roles []role, units []unit) Columns {
	out := make(Columns, len(roles))
	for i, r := range roles {
		c := Column{role: r, unit: units[i], name: "-"}
		switch r {
		case roleX, roleY, roleZ:
			c.name = string(rune('x' + r - roleX))
		case roleAX, roleAY, roleAZ:
			c.name = "a" + string(rune('x'+r-roleAX))
		case roleT:
			c.name = map[unit]string{unitS: "t_s", unitMS: "t_ms", unitUS: "t_us"}[units[i]]
			if c.name == "" {
				c.name = "t"
			}
		case roleCurrent:
			c.name = "current"
		case roleOn:
			c.name = "on"
		case roleID:
			c.name = "id"
		default:
			c.role = roleNone
		}
		out[i] = c
	}
	return out
}
