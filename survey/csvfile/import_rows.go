package csvfile

import (
	"io"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// importReader gathers captures from the rows of a table.
type importReader struct {
	*CSVTable
	stations map[string]survey.Station
	base     string
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
		return p.Fail(logbook.ColTS, "the time runs backwards within capture %d (from %g to %g s); sort the rows, or give the second dwell its own number",
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

// PlaceSlackMM is how far a place in a file may be from the craft file's
// before it is worth a remark.
const PlaceSlackMM = 1

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
	case stated && known && r3.Norm(r3.Sub(own, marked.At)) > PlaceSlackMM:
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
func (t *CSVTable) warn(r remark.Remark) {
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

func (p *importReader) sample() (survey.Sample, error) {
	var s survey.Sample
	var err error
	if s.TS, err = p.Needed(logbook.ColTS); err != nil {
		return s, err
	}
	for _, part := range []struct {
		column string
		v      *float64
	}{{logbook.ColBX, &s.B.X}, {logbook.ColBY, &s.B.Y}, {logbook.ColBZ, &s.B.Z}} {
		if *part.v, err = p.Needed(part.column); err != nil {
			return s, err
		}
	}
	if err := p.acc(&s); err != nil {
		return s, err
	}
	for _, column := range []string{logbook.ColCurrentA, logbook.ColLoadOn} {
		v, ok, err := p.Number(column)
		if err != nil {
			return s, err
		}
		if !ok {
			continue
		}
		if err := logbook.SetterOf(column)(&s, v); err != nil {
			return s, p.Fail(column, "%w", err)
		}
	}
	return s, nil
}

func (p *importReader) acc(s *survey.Sample) error {
	var v [3]float64
	n := 0
	for i, column := range []string{logbook.ColAX, logbook.ColAY, logbook.ColAZ} {
		a, ok, err := p.Number(column)
		if err != nil {
			return err
		}
		if ok {
			v[i] = a
			n++
		}
	}
	switch n {
	case 3:
		s.Acc, s.Has = logbook.ArrayVec(v), s.Has|survey.HasAcc
	case 0:
	default:
		return p.Fail("", "ax_g, ay_g and az_g belong together: give all three or none")
	}
	return nil
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
