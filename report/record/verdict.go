package record

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"quietmount/magmath/heading"
	"quietmount/report/answer"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
)

// answer returns the verdict, the question, and whether the spot was proved.
func (m *sheetMaker) answer() sheet.Section {
	blocks := []sheet.Block{m.verdict()}
	if slices.ContainsFunc(m.allRuns(), func(r *logbook.Run) bool { return r.Header.Port == logbook.SimulatedPort }) {
		blocks = append(blocks, sheet.Text{Lead: "A simulation.", Body: "Nothing on this sheet was measured: the runs are those of an invented craft and a simulated module."})
	}
	blocks = append(blocks, sheet.Text{Lead: "Asked.", Body: m.asked()})
	if lead, words := m.proofWords(); lead != "" {
		blocks = append(blocks, sheet.Text{Lead: lead, Body: words})
	}
	return sheet.Section{Blocks: blocks}
}

// verdict returns the answer in one sentence.
func (m *sheetMaker) verdict() sheet.Verdict {
	s := m.subject.spot
	checked := answer.ChecksOf(words.Page, m.checks)
	switch {
	case checked.Untrusted() != "":
		return sheet.Verdict{Word: "Not to be trusted", Bad: true, Sentence: say.Capital(checked.Reason())}
	case s == nil && m.ranking == nil:
		return sheet.Verdict{Word: "Not decided", Bad: true, Sentence: "Nothing could be ranked: neither a load nor a disturbance against a background was measured."}
	case s == nil || !m.subject.chosen && !m.ranking.Qualified:
		return sheet.Verdict{Word: "No spot qualifies", Bad: true, Sentence: m.rank.Verdict()}
	}
	where := placeSentence(*s)
	if m.subject.chosen {
		where = "The chosen spot, " + where
	} else {
		where = fmt.Sprintf("Spot %d, %s", s.Rank, where)
	}
	limits := m.f.Craft.Limits
	if why := checked.Reason(); why != "" {
		return sheet.Verdict{Word: "Open", Bad: true, Sentence: say.Capital(why) + m.meanwhile(where)}
	}
	switch e := answer.ErrorOf(&s.Shifting); {
	case len(m.subject.broken) > 0:
		return sheet.Verdict{Word: "Against a constraint", Bad: true, Sentence: where + ", breaks a constraint: " + say.Listed(m.subject.broken) + "."}
	case e == nil:
		return sheet.Verdict{Word: "Steady part only", Bad: true, Sentence: where + ", is judged by the steady part alone; no load was measured, so the shifting part is unknown."}
	case !s.WithinBudget && s.BoundWithin:
		return sheet.Verdict{Word: "Only for a steady hand", Bad: true, Sentence: fmt.Sprintf("%s, stays under the budget only if the hand does not slip: the place is too near to where the error grows over it, or to the edge of what was surveyed.", where)}
	case !s.WithinBudget:
		bound := answer.Degrees(e.Upper95)
		if e.Upper95 >= 179.95 {
			bound = "any direction instead"
		}
		return sheet.Verdict{Word: "Over the budget", Bad: true, Sentence: fmt.Sprintf("%s, is over the budget: the shifting heading error may reach %s of the %s degrees allowed.", where, bound, say.Short(limits.HeadingErrorDeg))}
	case m.proof != nil && m.proof.Failed:
		return sheet.Verdict{Word: "Not confirmed by the proof", Bad: true, Sentence: where + ", is within the budget by the map, but not by what was measured with the module there."}
	case !s.WithinSteady:
		return sheet.Verdict{Word: "Over the steady limit", Bad: true, Sentence: fmt.Sprintf("%s, is over the steady limit of %s µT.", where, say.Short(limits.SteadyUT))}
	default:
		return sheet.Verdict{Word: "Within the budget", Sentence: fmt.Sprintf("%s, is within the budget: with 95 %% certainty the shifting heading error stays under %s degrees of the %s allowed.", where, answer.Degrees(e.Upper95), say.Short(limits.HeadingErrorDeg))}
	}
}

// meanwhile returns what the numbers say of the spot by what was measured.
func (m *sheetMaker) meanwhile(where string) string {
	s := m.subject.spot
	e := answer.ErrorOf(&s.Shifting)
	if e == nil {
		return ""
	}
	return fmt.Sprintf(" %s, stays under %s degrees of the %s allowed by what was measured alone.", where, answer.Degrees(e.Upper95), say.Short(m.f.Craft.Limits.HeadingErrorDeg))
}

// placeSentence describes where a spot is.
func placeSentence(s rank.Spot) string {
	words := fmt.Sprintf("at x %s, y %s, z %s mm", mm(s.At.X), mm(s.At.Y), mm(s.At.Z))
	if s.HeightMM != 0 {
		words += fmt.Sprintf(" and %s mm above it", say.Short(say.Tidy(s.HeightMM)))
	}
	if by := say.FromFewest(s.FromMarks); by != "" {
		return words + " (" + by + ")"
	}
	if s.NearestStation != "" {
		words += " near " + s.NearestStation
	}
	return words
}

// asked returns the question that the survey answers.
func (m *sheetMaker) asked() string {
	c := m.f.Craft
	words := []string{fmt.Sprintf("Where on the craft a compass is disturbed least: with 95 %% certainty by no more than %s degrees while loads change (%s)",
		say.Short(c.Limits.HeadingErrorDeg), say.Attitudes(c.Limits))}
	words = append(words, fmt.Sprintf("by a steady part of no more than %s µT", say.Short(c.Limits.SteadyUT)))
	if n := len(c.Keepouts); n > 0 {
		words = append(words, "clear of "+say.Counted(n, "keep-out"))
	}
	if c.Cable != nil && c.Module.CableMM > 0 {
		words = append(words, fmt.Sprintf("within reach of a cable of %s mm", say.Short(c.Module.CableMM)))
	}
	if b := c.Balance; b != nil {
		words = append(words, "with the centre of gravity at "+answer.RangeWords("x", pair(b.CGXMM))+", "+answer.RangeWords("y", pair(b.CGYMM)))
	}
	words = append(words, fmt.Sprintf("mounted %s mm above the surface", strings.Join(say.Shorts(c.Heights), " or ")))
	return strings.Join(words, "; ") + "."
}

func pair(v [2]float64) [2]*float64 { return [2]*float64{answer.Number(v[0]), answer.Number(v[1])} }

// proofWords states in a sentence whether the spot was proved.
func (m *sheetMaker) proofWords() (lead, body string) {
	switch {
	case m.proof != nil && m.proof.Measured == nil && len(m.proof.Earlier) > 0:
		return "Not proved:", words.Terminal.Say(m.proof.Why) + "."
	case m.proof == nil || m.proof.Measured == nil:
		return "Not proved:", "no captures with the module at the spot are part of this record."
	case m.proof.State == prove.OneByOne:
		return "Proved", words.Terminal.Say(m.proof.Why) + "."
	case m.proof.OK:
		return "Proved.", say.Capital(words.Terminal.Say(m.proof.Why)) + "."
	case m.proof.State == prove.PlaceChecked:
		return "Place checked, not proved:", words.Terminal.Say(m.proof.Why) + "."
	}
	return "Not proved:", words.Terminal.Say(m.proof.Why) + "."
}

// proved compares what the map promises at the spot with what the proof measured.
func (m *sheetMaker) proved() sheet.Section {
	p := m.proof
	if p == nil || p.Measured == nil && len(p.Earlier) == 0 {
		return sheet.Section{}
	}
	a := answer.NewProve(words.Terminal, m.f, p, 0)
	var failed []string
	for _, f := range a.Earlier {
		failed = append(failed, f.Told())
	}
	if p.Measured == nil {
		return sheet.Section{Title: "Proof: promised beside measured", Blocks: []sheet.Block{sheet.Text{Lead: "Not proved:", Body: words.Terminal.Say(p.Why) + "."}, sheet.List{Items: failed}}}
	}
	row := func(name string, shifting *heading.Error, steady *heading.Quantiles, captures string, combination []string) sheet.Row {
		cells := append(append([]string{name}, answer.DegreesOf(shifting)...), answer.MicroteslaOf(steady)...)
		for i := range cells[1:] {
			cells[i+1] = dash(cells[i+1])
		}
		return sheet.Row{Cells: append(cells, captures, orDash(say.Listed(combination)))}
	}
	table := sheet.Table{
		Columns: []sheet.Column{
			{Name: "", Words: true}, {Name: "shifting error", Unit: "degrees"}, {Name: "95 % under", Unit: "degrees"},
			{Name: "steady |d|", Unit: "µT"}, {Name: "95 % under", Unit: "µT"}, {Name: "captures"}, {Name: "worst combination", Words: true},
		},
		Rows: []sheet.Row{
			row("promised by the map", a.Promised.Shifting, a.Promised.SteadyUT, "–", a.Promised.Worst()),
			row("measured at the spot", a.Measured.Shifting, a.Measured.SteadyUT, fmt.Sprint(a.Measured.Captures), a.Measured.Worst()),
		},
	}
	blocks := []sheet.Block{table}
	if a.PValue != nil {
		blocks = append(blocks, sheet.Text{Body: fmt.Sprintf("Probability of fields, loads and steady part together, so far from the map's if the map is right: %.2g. Under %g a proof fails.", *a.PValue, prove.Significance)})
	}
	if v := a.Measured.SteadyPValue; v != nil {
		blocks = append(blocks, sheet.Text{Body: fmt.Sprintf("Of the steady part alone: %.2g.", *v)})
	}
	if len(failed) > 0 {
		blocks = append(blocks, sheet.List{Items: failed})
	}
	if len(p.Notes) > 0 {
		blocks = append(blocks, sheet.List{Items: sentences(words.Terminal.All(p.Notes))})
	}
	return sheet.Section{Title: "Proof: promised beside measured", Blocks: blocks}
}

// chosen returns all that is known of the spot.
func (m *sheetMaker) chosen() sheet.Section {
	s := m.subject.spot
	if s == nil {
		return sheet.Section{}
	}
	title := "The first spot of the ranking"
	if m.subject.chosen {
		title = "The chosen spot"
	}
	a := answer.SpotOf(*s)
	mounted := "mounted on it"
	if a.HeightMM != 0 {
		mounted = "mounted " + say.Short(a.HeightMM) + " mm above it"
	}
	var rows facts
	add := rows.add
	add("place", "x %s, y %s, z %s mm: the surface under the middle of the module's foot, %s; nearest station %s", mm(a.Xmm), mm(a.Ymm), mm(a.Zmm), mounted, orDash(s.NearestStation))
	if a.Place != "" {
		add("measured from marks", "%s", a.Place)
	}
	add("placement tolerance", "%s", toleranceWords(a.PlacementToleranceMM))
	add("arrow", "%s", m.arrowWords())
	shifting, steady, rest := answer.DegreesOf(a.Shifting), answer.MicroteslaOf(a.SteadyUT), answer.DegreesOf(a.Steady)
	add("shifting part", "%s degrees, with 95 %% certainty under %s%s", dash(shifting[0]), dash(shifting[1]), prefixed("; worst with ", say.Listed(say.Combination(a.WorstCombination, a.WorstReversed))))
	if level := answer.DegreesOf(a.Level); a.Level != nil {
		add("level and exact", "%s degrees, with 95 %% certainty under %s: on a level craft, exactly in its place, for comparison", dash(level[0]), dash(level[1]))
	}
	add("steady part", "%s µT, with 95 %% certainty under %s; %s degrees, under %s, until a compass calibration on the finished craft removes it", dash(steady[0]), dash(steady[1]), dash(rest[0]), dash(rest[1]))
	add("extrapolation", "%s", factorWords(s.ExtrapolationFactor))
	if a.CableMM != nil {
		add("cable", "%s mm of the module's %s mm", answer.Whole(a.CableMM), orDash(positiveShort(m.f.Craft.Module.CableMM)))
	}
	add("how chosen", "%s", m.choiceWords())
	return sheet.Section{Title: title, Blocks: []sheet.Block{sheet.Facts{Rows: rows}}}
}

// toleranceWords describes the placement tolerance.
func toleranceWords(v *float64) string {
	switch {
	case v == nil:
		return "not known"
	case *v < 0.5:
		return "none: around the spot a limit is exceeded, or nothing was surveyed"
	}
	return fmt.Sprintf("%.0f mm in any direction before a limit is exceeded", *v)
}

// arrowWords states which way the module's arrow points.
func (m *sheetMaker) arrowWords() string {
	words := "to the nose (the craft's x)"
	a := m.f.Craft.Module.Axes
	if a == nil {
		return words + "; the sensor's axes in the case were never checked (quietmount arrow)"
	}
	return words + "; the sensor's own axes then lie as axes = " + survey.FormatAxes(*a)
}

// factorWords describes by how much measured currents were scaled up.
func factorWords(factor float64) string {
	switch {
	case math.IsNaN(factor) || factor == 0:
		return "not known"
	case factor <= 1.005:
		return "none: measured at the largest currents"
	}
	return fmt.Sprintf("measured currents scaled up by %.2g to the largest; the bounds include that", factor)
}

// choiceWords states when and how the spot was chosen.
func (m *sheetMaker) choiceWords() string {
	c := m.o.Choice
	if c == nil || !m.subject.chosen {
		return "not chosen yet"
	}
	words := fmt.Sprintf("as number %d of the ranking", c.Spot.Rank)
	if c.ByHand {
		words = "by hand"
	}
	if !c.Chosen.IsZero() {
		words += ", " + c.Chosen.Format("2006-01-02 15:04 -07:00")
	}
	if then, now := c.Spot.ShiftingDeg, answer.ErrorOf(&m.subject.spot.Shifting); then != nil && now != nil && answer.Degrees(then.Upper95) != answer.Degrees(now.Upper95) {
		words += fmt.Sprintf("; the bound was %s degrees then and is %s by the runs of this sheet", answer.Degrees(then.Upper95), answer.Degrees(now.Upper95))
	}
	return words
}

// prefixed returns s behind a prefix, or nothing for an empty s.
func prefixed(prefix, s string) string {
	if s == "" {
		return ""
	}
	return prefix + s
}

// orDash returns s, or a dash for an empty s.
func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// positiveShort returns a positive number, else nothing.
func positiveShort(v float64) string {
	if !(v > 0) {
		return ""
	}
	return say.Short(v)
}
