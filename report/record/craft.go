package record

import (
	"fmt"
	"slices"
	"strings"

	"quietmount/report/answer"
	"quietmount/report/picture"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey"
)

// balance returns the centre of gravity with the module at the spot.
func (m *sheetMaker) balance() sheet.Section {
	if m.subject.spot == nil {
		return sheet.Section{}
	}
	s := sheet.Section{Title: "Balance"}
	if m.balanced == nil {
		s.Blocks = []sheet.Block{sheet.Text{Body: "Not known: the craft file describes no masses."}}
		return s
	}
	var said text.Sentences
	answer.NewBalance(words.Terminal, m.f.Craft.Name, m.balanced).Say(&said)
	s.Blocks = []sheet.Block{sheet.List{Items: sentences(said)}}
	return s
}

// identity names craft, module and probe.
func (m *sheetMaker) identity() sheet.Section {
	c := m.f.Craft
	probe := "the module itself"
	if c.Probe != nil {
		probe = moduleWords(*c.Probe)
	}
	rows := []sheet.Fact{
		{Name: "craft", Value: fmt.Sprintf("%s; outline %s; craft file SHA-256 %.12s", say.Named(c.Name), say.Size(c), orDash(c.SHA256))},
		{Name: "fitted", Value: orDash(say.Listed(c.Body.Fitted))},
		{Name: "module", Value: moduleWords(c.Module)}, {Name: "probe", Value: probe},
		{Name: "connection", Value: orDash(say.Listed(unique(m.ports())))},
	}
	return sheet.Section{Title: "Craft, module and probe", Blocks: []sheet.Block{sheet.Facts{Rows: rows}}}
}

// ports lists through what the runs were read.
func (m *sheetMaker) ports() []string {
	var out []string
	for _, r := range m.f.Runs {
		h := r.Header
		switch {
		case h.Imported:
			out = append(out, "imported files")
		case h.Port != "":
			out = append(out, h.Port+prefixed(", lines read as ", h.Decoder))
		}
	}
	return out
}

// moduleWords describes a module or probe.
func moduleWords(u survey.Module) string {
	words := fmt.Sprintf("%s; %s g; foot %s by %s mm; sensor %s mm above it", orDash(u.Name), orDash(positiveShort(u.MassG)),
		say.Short(u.FootprintMM.X), say.Short(u.FootprintMM.Y), say.Short(u.SensorHeightMM))
	if u.SensorOffsetMM.X != 0 || u.SensorOffsetMM.Y != 0 {
		words += fmt.Sprintf(", %s mm forward and %s mm right of its middle", minus(say.Short(u.SensorOffsetMM.X)), minus(say.Short(u.SensorOffsetMM.Y)))
	}
	if u.RangeUT > 0 {
		words += fmt.Sprintf("; full scale %s µT", say.Short(u.RangeUT))
	}
	if u.Axes == nil {
		return words + "; axes not known"
	}
	return words + "; axes " + survey.FormatAxes(*u.Axes)
}

// signatures returns the blanks to fill in by hand and the frames for photographs.
func (m *sheetMaker) signatures() sheet.Section {
	return sheet.Section{Title: "By hand", Whole: true, Blocks: []sheet.Block{
		sheet.Blanks{Names: []string{"measured by", "date", "checked by", "date", "serial number of the module", "where the sheet is kept"}},
		sheet.Frames{Captions: []string{"photograph: the template on the craft", "photograph: the module in its place"}},
	}}
}

// calibrations describes those that the runs used.
func (m *sheetMaker) calibrations() sheet.Section {
	s := sheet.Section{Title: "Calibration of the probe"}
	if len(m.o.Calibrations) == 0 {
		s.Blocks = []sheet.Block{sheet.Text{Body: "None: the probe's readings were used uncorrected."}}
		return s
	}
	var rows facts
	for _, c := range m.o.Calibrations {
		rows.add("no. "+c.ID, "%s; offset %s ± %s µT; gains %.3f, %.3f, %.3f; %s fitted; residual %.2f µT; %.0f %% of the sphere covered by %s, %d left out; scale from the %s%s",
			orDash(c.Probe+prefixed(", ", c.Source)), three(c.OffsetUT, 1), three(c.OffsetStandard, 1), c.Matrix[0][0], c.Matrix[1][1], c.Matrix[2][2],
			say.Counted(c.Parameters, "parameter"), c.ResidualUT, 100*c.SphereCovered, say.Counted(c.Samples, "reading"), c.Rejected, orDash(c.ScaleFrom), prefixed("; used by ", m.usedBy(c.ID)))
	}
	s.Blocks = []sheet.Block{sheet.Facts{Rows: rows}}
	for _, c := range m.o.Calibrations {
		if p, err := picture.Calibration(c); err == nil { // else it was stored without what was shown of the sphere
			s.Blocks = append(s.Blocks, sheet.Pictures{Across: 1, Items: []sheet.Picture{p}})
		}
	}
	return s
}

// three returns the components of a vector.
func three(v [3]float64, decimals int) string {
	var words [3]string
	for i, x := range v {
		words[i] = minus(fmt.Sprintf("%.*f", decimals, say.Tidy(x)+0))
	}
	return strings.Join(words[:], ", ")
}

// usedBy lists the runs and checks that a calibration corrects.
func (m *sheetMaker) usedBy(id string) string {
	var runs, checks []string
	for _, r := range m.surveyRuns() {
		if r.Header.Calibration == id {
			runs = append(runs, fmt.Sprint(r.Header.Run))
		}
	}
	for _, s := range m.o.Checks {
		if s.Header.Calibration == id {
			checks = append(checks, fmt.Sprintf("%s %d", s.Swing.What, s.Header.Run))
		}
	}
	if slices.Contains(m.o.Compared, id) {
		checks = append(checks, "the comparison of the steady part")
	}
	words := prefixed("run ", say.Listed(runs))
	if words != "" && len(checks) > 0 {
		words += "; "
	}
	return words + say.Listed(checks)
}
