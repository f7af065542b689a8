package csvfile

import (
	"io"
	"slices"
	"strings"

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

func importRequired() []string {
	return []string{colCapture, colStation, logbook.ColTS, logbook.ColBX, logbook.ColBY, logbook.ColBZ}
}

func importOptional() []string {
	return []string{logbook.ColAX, logbook.ColAY, logbook.ColAZ, logbook.ColCurrentA, logbook.ColLoadOn, colX, colY, colZ, colPromptOn}
}

// openRun reads up to and with the header line of a run.
func openRun(r io.Reader, name string) (*CSVTable, error) {
	t, err := OpenCSV(r, name, importRequired())
	if err != nil {
		return nil, err
	}
	return t, t.header()
}

// header checks the names of the columns.
func (t *CSVTable) header() error {
	known := append(importRequired(), importOptional()...)
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
	for _, name := range importRequired() {
		if !t.Has(name) {
			return t.Fail(name, "the column is missing; the header must be %s, then any of %s",
				strings.Join(importRequired(), ","), strings.Join(importOptional(), ","))
		}
	}
	for _, group := range [][]string{{logbook.ColAX, logbook.ColAY, logbook.ColAZ}, {colX, colY, colZ}} {
		if err := t.together(group); err != nil {
			return err
		}
	}
	return nil
}

// unknown refuses a name that is nearly a known one and passes over others.
func (t *CSVTable) unknown(name string, known []string) error {
	if name == "" {
		return nil
	}
	if near := survey.Nearest(name, known); near != "" && !t.named(near) {
		return t.Fail(name, "the column is not known; is %s meant? Rename it, or remove the column", near)
	}
	t.warn(remark.New("import.unknown-column", remark.Values{"column": name}))
	return nil
}

func (t *CSVTable) named(name string) bool {
	return slices.ContainsFunc(t.columns, func(s string) bool { return strings.EqualFold(s, name) })
}

func (t *CSVTable) together(group []string) error {
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
