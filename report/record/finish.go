package record

import (
	"fmt"
	"math"

	"quietmount/report/answer"
	"quietmount/report/picture"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/survey/logbook"
)

// finish returns the section about the finished craft: arrow check, swing and steady
// part.
func (m *sheetMaker) finish() sheet.Section {
	s := sheet.Section{Title: "The finished craft"}
	if a := m.o.Arrow; a != nil {
		s.Blocks = append(s.Blocks, arrowBlocks(*a)...)
		s.Blocks = append(s.Blocks, m.mounted(logbook.SwingArrow)...)
	}
	if a := m.o.Swing; a != nil {
		s.Blocks = append(s.Blocks, swingBlocks(*a, m.f.Craft.Name)...)
		s.Blocks = append(s.Blocks, m.mounted(logbook.SwingHeadings)...)
	}
	s.Blocks = append(s.Blocks, m.promise()...)
	return s
}

// mounted states where the module was at the newest check of a kind, if that is
// known.
func (m *sheetMaker) mounted(what string) []sheet.Block {
	var at *logbook.Mounted
	for _, s := range m.o.Checks {
		if s.Swing.What == what {
			at = s.Swing.Spot
		}
	}
	if at == nil {
		return nil
	}
	words := fmt.Sprintf("Taken with the module at x %s, y %s, z %s mm.", mm(at.XMM), mm(at.YMM), mm(at.ZMM))
	if s := m.subject.spot; s != nil && math.Hypot(s.At.X-at.XMM, s.At.Y-at.YMM)+math.Abs(s.HeightMM-at.HeightMM) > 1 {
		return []sheet.Block{sheet.Text{Lead: "At another spot.", Body: words + " This sheet is about another place."}}
	}
	return []sheet.Block{sheet.Text{Small: true, Body: words}}
}

// arrowBlocks states the result of the arrow check.
func arrowBlocks(a answer.Arrow) []sheet.Block {
	points := "to the " + a.ArrowPoints
	if a.ArrowPoints == "up" || a.ArrowPoints == "down" {
		points = a.ArrowPoints
	}
	out := []sheet.Block{sheet.Text{
		Lead: say.YesNo(a.OK, "The arrow is right.", "The arrow is not right."),
		Body: fmt.Sprintf("It points %s, the label faces %s; twisted by %s ± %s degrees clockwise seen from above. Poses: %s.",
			points, a.LabelFaces, dash(say.Shown(a.TwistDeg, 1)), say.Shown(a.TwistSUDeg, 1), say.Listed(a.Poses)),
	}}
	return append(out, asides(a.Why)...)
}

// asides returns sentences in small type.
func asides(all []string) []sheet.Block {
	var out []sheet.Block
	for _, s := range sentences(all) {
		out = append(out, sheet.Text{Small: true, Body: s})
	}
	return out
}

// swingBlocks shows the result of the swing.
func swingBlocks(a answer.Swing, craft string) []sheet.Block {
	t := sheet.Table{Columns: []sheet.Column{{Name: "heading", Unit: "magnetic", Words: true}, {Name: "compass"}, {Name: "deviation", Unit: "degrees"}, {Name: "fitted", Unit: "degrees"}}}
	for _, r := range a.Table {
		heading := answer.HeadingWords(r.HeadingDeg)
		if r.LeftOut {
			heading += ", left out"
		}
		t.Rows = append(t.Rows, sheet.Row{Cells: []string{heading, answer.CompassWords(r.CompassDeg), answer.EastWest(r.DeviationDeg), answer.EastWest(r.FittedDeg)}})
	}
	out := []sheet.Block{
		sheet.Text{Lead: say.YesNo(a.OK, "The compass is within the limit.", "The compass is not within the limit, or the swing cannot be trusted."),
			Body: fmt.Sprintf("Largest deviation %s degrees at heading %s, limit %s. Swing by %s. Beside it: %s.",
				say.Shown(a.MaxDeviationDeg, 1), answer.HeadingWords(a.MaxAtDeg), say.Short(a.LimitDeg), a.Reference+a.UnderLoad(), a.Published.Source)},
		t,
		sheet.Pictures{Across: 1, Items: []sheet.Picture{picture.DeviationCard(craft, a)}},
		sheet.Text{Body: "Coefficients in degrees, with one standard uncertainty: " + a.CoefficientWords() + "."},
	}
	for _, s := range sentences(a.Reading) {
		out = append(out, sheet.Text{Body: s})
	}
	return append(out, asides(a.Why)...)
}
