package live

import (
	"net/url"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/report/answer"
	"quietmount/report/live/serve"
	"quietmount/survey"
)

// trial is a set of changes that are tried together. Each is sent as a query of its
// own in the field "change".
type trial struct {
	answer.Trial
	shown []triedChange
}

// mostChanges bounds the changes of one trial.
const mostChanges = 12

// readTrial reads all changes of a form or a query.
func readTrial(f serve.Form, c *survey.Craft) (*trial, error) {
	all, err := f.All("change", mostChanges)
	if err != nil {
		return nil, err
	}
	t := &trial{}
	for _, text := range all {
		values, err := url.ParseQuery(text)
		if err != nil {
			return nil, serve.BadField("change", "%v", err)
		}
		if err := t.add(serve.Form{Values: values}, c); err != nil {
			return nil, err
		}
	}
	return t, nil
}

// query returns the trial as a page sends it, with the part of the map to show.
func (t *trial) query(part string) string {
	v := url.Values{}
	for _, s := range t.shown {
		v.Add("change", s.Query)
	}
	if part != "" {
		v.Set("part_shown", part)
	}
	return v.Encode()
}

// changeKinds returns the kinds of change with the fields that each reads.
func changeKinds() map[string][]string {
	return map[string][]string{
		"magnet":  {"diameter_mm", "thickness_mm", "grade", "along", "x_mm", "y_mm", "z_mm"},
		"lead":    {"current_a", "gap_mm", "load", "x_mm", "y_mm", "z_mm", "to_x_mm", "to_y_mm", "to_z_mm"},
		"move":    {"part", "x_mm", "y_mm", "z_mm"},
		"turn":    {"part", "along"},
		"without": {"part"},
		"cable":   {"cable_mm"},
		"height":  {"height_mm"},
	}
}

// add reads one change.
func (t *trial) add(form serve.Form, c *survey.Craft) error {
	f := &serve.Fields{Form: form}
	kind := f.Pick("kind", "magnet", "lead", "move", "turn", "without", "cable", "height")
	if f.Err != nil {
		return f.Err
	}
	var err error
	switch kind {
	case "magnet":
		err = t.magnet(f)
	case "lead":
		err = t.lead(f, c)
	case "cable", "height":
		err = t.mount(kind, f)
	default:
		err = t.part(kind, f, c)
	}
	if err != nil {
		return err
	}
	sent := url.Values{"kind": {kind}}
	for _, name := range changeKinds()[kind] {
		if f.Has(name) {
			sent.Set(name, strings.TrimSpace(f.Raw(name)))
		}
	}
	t.shown = append(t.shown, triedChange{kind: kind, Words: t.Words[len(t.Words)-1], Part: sent.Get("part"), Query: sent.Encode()})
	return nil
}

func (t *trial) magnet(f *serve.Fields) error {
	diameter, thickness := f.Needed("diameter_mm", 0.1, 500), f.Needed("thickness_mm", 0.1, 500)
	grade := f.Text("grade", 20)
	if _, _, err := source.Grade(grade); err != nil && f.Err == nil {
		f.Err = serve.BadField("grade", "%v", err)
	}
	along, at := axisOf(f), formPlace(f, "x_mm", "y_mm", "z_mm")
	if f.Err != nil {
		return f.Err
	}
	return t.AddDisc(diameter, thickness, grade, at, along)
}

// mount reads a change of where the module may be mounted.
func (t *trial) mount(kind string, f *serve.Fields) error {
	if kind == "cable" {
		if mm := f.Needed("cable_mm", 1, 100_000); f.Err == nil {
			t.Cable(mm)
		}
		return f.Err
	}
	if mm := f.Needed("height_mm", 0, 10_000); f.Err == nil {
		t.Height(mm)
	}
	return f.Err
}

func axisOf(f *serve.Fields) answer.Axis {
	var known []string
	for _, a := range answer.Axes() {
		known = append(known, string(a))
	}
	return answer.Axis(f.Pick("along", known...))
}

func (t *trial) lead(f *serve.Fields, c *survey.Craft) error {
	amps, gap, load := f.Needed("current_a", 0.001, 10_000), f.Needed("gap_mm", 0, 1000), ""
	if f.Has("load") {
		load = f.Pick("load", loadNames(c)...)
	}
	from, to := formPlace(f, "x_mm", "y_mm", "z_mm"), formPlace(f, "to_x_mm", "to_y_mm", "to_z_mm")
	if f.Err == nil && from == to {
		f.Err = serve.BadField("to_x_mm", "a lead runs from one place to another")
	}
	if f.Err == nil {
		t.AddLead([]r3.Vec{from, to}, amps, gap, load)
	}
	return f.Err
}

// part moves, turns or removes a part of the craft file, at most once in a trial:
// its field is known only at its place in the file.
func (t *trial) part(kind string, f *serve.Fields, c *survey.Craft) error {
	names := make([]string, len(c.Parts))
	for i, p := range c.Parts {
		names[i] = p.Name
	}
	part := f.Pick("part", names...)
	if f.Err == nil && t.changes(part) {
		f.Err = serve.BadField("part", "%q is changed already", part)
	}
	switch kind {
	case "move":
		if to := formPlace(f, "x_mm", "y_mm", "z_mm"); f.Err == nil {
			t.Move(part, to)
		}
	case "turn":
		if along := axisOf(f); f.Err == nil {
			t.Turn(part, along)
		}
	default:
		if f.Err == nil {
			t.Without(part)
		}
	}
	return f.Err
}

// changes reports whether the trial changes a part.
func (t *trial) changes(part string) bool {
	return slices.ContainsFunc(t.shown, func(s triedChange) bool { return s.Part == part && part != "" })
}

// without returns the trial without what a newer change replaces: that of the same part
// of the craft file, or of the cable.
func (t *trial) without(kind, part string, c *survey.Craft) (*trial, error) {
	kept := url.Values{}
	for _, s := range t.shown {
		if (s.Part == "" || s.Part != part) && !(kind == "cable" && s.kind == kind) {
			kept.Add("change", s.Query)
		}
	}
	return readTrial(serve.Form{Values: kept}, c)
}

// whatifTry adds the form's change to those tried before and answers with the query
// of all of them. Nothing is stored.
func whatifTry(a asked) (any, error) {
	f, err := a.Folder(a.Ctx)
	if err != nil {
		return nil, err
	}
	t, err := readTrial(a.Form, f.Craft)
	if err != nil {
		return nil, err
	}
	if t, err = t.without(a.Form.Raw("kind"), a.Form.Raw("part"), f.Craft); err != nil {
		return nil, err
	}
	if len(t.shown) >= mostChanges {
		return nil, serve.BadField("kind", "%s", a.Words("whatif.most", mostChanges))
	}
	if err := t.add(a.Form, f.Craft); err != nil {
		return nil, err
	}
	return struct {
		Query string `json:"query"`
	}{t.query("")}, nil
}
