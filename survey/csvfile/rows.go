package csvfile

import (
	"io"
	"maps"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
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

// required and optional return the columns of a run in CSV.
func required() []string {
	out := []string{colCapture, colStation}
	for _, c := range survey.Columns() {
		if c.Has == 0 {
			out = append(out, c.Name)
		}
	}
	return out
}

func optional() []string {
	var out []string
	for _, c := range survey.Columns() {
		if c.Has != 0 {
			out = append(out, c.Name)
		}
	}
	return append(out, colX, colY, colZ, colPromptOn)
}

// openRun reads up to and with the header line of a run.
func openRun(r io.Reader, name string) (*Table, error) {
	t, err := Open(r, name, required())
	if err != nil {
		return nil, err
	}
	return t, t.header()
}

// header checks the names of the columns.
func (t *Table) header() error {
	known := append(required(), optional()...)
	for i, raw := range t.columns {
		name := strings.ToLower(raw)
		if slices.Contains(known, name) {
			if _, twice := t.at[name]; twice {
				return t.Fail(name, "the column is there twice")
			}
			t.at[name] = i
			continue
		}
		if err := t.unknown(name, known); err != nil {
			return err
		}
	}
	for _, name := range required() {
		if !t.Has(name) {
			return t.Fail(name, "the column is missing; the header must be %s, then any of %s",
				strings.Join(required(), ","), strings.Join(optional(), ","))
		}
	}
	for _, group := range [][]string{accelerations(), {colX, colY, colZ}} {
		if err := t.together(group); err != nil {
			return err
		}
	}
	return nil
}

// unknown refuses a name that is nearly a known one and passes over others.
func (t *Table) unknown(name string, known []string) error {
	if name == "" {
		return nil
	}
	if near := survey.Nearest(name, known); near != "" && !t.named(near) {
		return t.Fail(name, "the column is not known; is %s meant? Rename it, or remove the column", near)
	}
	t.warn(remark.New("import.unknown-column", remark.Values{"column": name}))
	return nil
}

func (t *Table) named(name string) bool {
	return slices.ContainsFunc(t.columns, func(s string) bool { return strings.EqualFold(s, name) })
}

func (t *Table) together(group []string) error {
	n := 0
	for _, name := range group {
		if t.Has(name) {
			n++
		}
	}
	if n != 0 && n != len(group) {
		return t.Fail("", "%s belong together: give all of them or none", strings.Join(group, ", "))
	}
	return nil
}

// importReader gathers captures from the rows of a table.
type importReader struct {
	*Table
	stations map[string]survey.Station
	base     string
	columns  []survey.Column
	captures []logbook.Capture
	at       map[int]int // capture number: index
	prompt   map[int]bool
}

func (p *importReader) rows() error {
	for {
		err := p.Next()
		if err == io.EOF {
			return nil
		}
		if err == nil {
			err = p.take()
		}
		if err != nil {
			return err
		}
	}
}

// take adds the present row to its capture.
func (p *importReader) take() error {
	c, err := p.capture()
	if err != nil {
		return err
	}
	s, err := p.sample()
	if err != nil {
		return err
	}
	if n := len(c.Samples); n > 0 && s.TS < c.Samples[n-1].TS {
		return p.Fail("t_s", "the time runs backwards within capture %d (from %g to %g s); sort the rows, or give the second dwell its own number",
			c.Number, c.Samples[n-1].TS, s.TS)
	}
	if err := p.prompted(c, s.TS); err != nil {
		return err
	}
	c.Samples = append(c.Samples, s)
	return nil
}

// capture finds or begins the capture of the present row.
func (p *importReader) capture() (*logbook.Capture, error) {
	v, err := p.Needed(colCapture)
	if err != nil {
		return nil, err
	}
	if v < 1 || v > 1e9 || v != math.Trunc(v) {
		return nil, p.Fail(colCapture, "%q is no capture number; number the dwells 1, 2, 3 and so on", p.Text(colCapture))
	}
	station := p.Text(colStation)
	if station == "" {
		return nil, p.Fail(colStation, "the value is missing")
	}
	i, known := p.at[int(v)]
	if known {
		c := &p.captures[i]
		if c.Station != station {
			return nil, p.Fail(colStation, "capture %d is at %s in an earlier row and at %s here; a dwell at another station needs a number of its own", c.Number, c.Station, station)
		}
		return c, p.samePlace(c)
	}
	at, visit, err := p.place(station)
	if err != nil {
		return nil, err
	}
	p.at[int(v)] = len(p.captures)
	p.captures = append(p.captures, logbook.Capture{Number: int(v), Station: station, At: at, Visit: visit})
	return &p.captures[len(p.captures)-1], nil
}

// ownPlace is the place that the row itself states.
func (p *importReader) ownPlace() (at r3.Vec, ok bool, err error) {
	n := 0
	for _, part := range []struct {
		column string
		v      *float64
	}{{colX, &at.X}, {colY, &at.Y}, {colZ, &at.Z}} {
		v, there, err := p.Number(part.column)
		if err != nil {
			return at, false, err
		}
		if there {
			*part.v = v
			n++
		}
	}
	if n != 0 && n != 3 {
		return at, false, p.Fail("", "x_mm, y_mm and z_mm belong together: give all three or none")
	}
	return at, n == 3, nil
}

func (p *importReader) place(station string) (r3.Vec, logbook.Visit, error) {
	own, stated, err := p.ownPlace()
	if err != nil {
		return own, "", err
	}
	visit := logbook.VisitStation
	if station == p.base {
		visit = logbook.VisitBase
	}
	marked, known := p.stations[station]
	switch {
	case stated && known && r3.Norm(r3.Sub(own, marked.At)) > survey.PlaceSlackMM:
		p.warn(remark.New("import.other-place", remark.Values{
			"at_mm": [3]float64{own.X, own.Y, own.Z}, "craft_file_mm": [3]float64{marked.At.X, marked.At.Y, marked.At.Z},
		}).At(remark.Place{Station: station}))
		return own, visit, nil
	case stated:
		return own, visit, nil
	case known:
		return marked.At, visit, nil
	}
	hint := ""
	if near := survey.Nearest(station, slices.Sorted(maps.Keys(p.stations))); near != "" {
		hint = " (is " + near + " meant?)"
	}
	return own, visit, p.Fail(colStation, "the craft file names no station %q%s; correct the name, or add the columns x_mm, y_mm, z_mm", station, hint)
}

// warn keeps a remark on the present row.
func (t *Table) warn(r remark.Remark) {
	r.Place.File, r.Place.Line = t.name, t.line
	t.warnings = append(t.warnings, r)
}

func (p *importReader) samePlace(c *logbook.Capture) error {
	at, stated, err := p.ownPlace()
	if err == nil && stated && at != c.At {
		err = p.Fail("", "capture %d is at %g, %g, %g mm in an earlier row and at %g, %g, %g mm here", c.Number, c.At.X, c.At.Y, c.At.Z, at.X, at.Y, at.Z)
	}
	return err
}

// accelerations returns the columns of the accelerometer, which belong together.
func accelerations() []string {
	var out []string
	for _, c := range survey.Columns() {
		if c.Has == survey.HasAcc {
			out = append(out, c.Name)
		}
	}
	return out
}

// sample reads the numbers of the present row. A field left empty was not sent.
func (p *importReader) sample() (s survey.Sample, err error) {
	accelerated := 0
	for _, c := range p.columns {
		v, ok, err := p.Number(c.Name)
		switch {
		case err != nil:
			return s, err
		case !ok && c.Has == 0:
			return s, p.Fail(c.Name, "the value is missing")
		case !ok:
			continue
		}
		if c.Has == survey.HasAcc {
			accelerated++
		}
		if err := c.Set(&s, v); err != nil {
			return s, p.Fail(c.Name, "%w", err)
		}
	}
	if group := accelerations(); accelerated != 0 && accelerated != len(group) {
		return s, p.Fail("", "ax_g, ay_g and az_g belong together: give all three or none")
	}
	return s, nil
}

// prompted turns the prompt_on column back into prompts: one where the value
// changes, and one at the beginning of a capture that begins on.
func (p *importReader) prompted(c *logbook.Capture, ts float64) error {
	v, ok, err := p.Number(colPromptOn)
	if err != nil || !ok {
		return err
	}
	if v != 0 && v != 1 {
		return p.Fail(colPromptOn, "%g; it must be 0 or 1", v)
	}
	if on := v == 1; on != p.prompt[c.Number] {
		p.prompt[c.Number] = on
		c.Prompts = append(c.Prompts, logbook.Prompt{TS: ts, On: on})
	}
	return nil
}
