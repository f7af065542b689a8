package record

import (
	"fmt"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/answer"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
)

// conditions describes where and how the survey was made.
func (m *sheetMaker) conditions() sheet.Section {
	f, c := m.f, m.f.Craft
	var rows facts
	add := rows.add
	add("site", "%.4f°, %.4f° (latitude, longitude), %.0f m", c.Site.LatitudeDeg, c.Site.LongitudeDeg, c.Site.AltitudeM)
	add("reference field", "%.1f µT, horizontal %.1f µT, dip %.1f°, declination %.1f° on %s", f.Reference.F/1000, f.HUT, f.Reference.I, f.Reference.D, f.Date)
	add("basis", "%s", answer.BasisWords(f.Basis))
	for _, r := range f.Rooms {
		add("session "+r.Session, "%s", roomWords(r))
	}
	for _, d := range f.Drift {
		if d.Return != nil {
			add(fmt.Sprintf("base, run %d", d.Run), "last minus first: %.2f µT, expected from hand and noise %.2f µT a component", r3.Norm(d.Return.ChangeUT), d.Return.SDUT)
		}
	}
	for _, l := range f.Loads {
		add("load "+l.Name, "%s", loadWords(l))
	}
	return sheet.Section{Title: "Conditions", Blocks: []sheet.Block{sheet.Facts{Rows: rows}}}
}

// roomWords describes the room of a session.
func roomWords(r evaluate.RoomFinding) string {
	s := "nose not stated"
	if r.NoseDeg != nil {
		s = fmt.Sprintf("nose at %.0f° magnetic", *r.NoseDeg)
	}
	s += ", " + say.Counted(r.Backgrounds, "background capture")
	if r.FieldUT != nil {
		s += fmt.Sprintf(", room field %.1f µT", r3.Norm(*r.FieldUT))
		if r.MisfitP < 0.05 {
			s += "; not all fit a smooth field of the room"
		}
	}
	return s
}

// loadWords describes how a load was measured.
func loadWords(l evaluate.LoadFinding) string {
	if !l.Measured {
		return "not measured"
	}
	words := []string{"at " + say.Counted(l.Stations, "station")}
	if l.CurrentA > 0 {
		words = append(words, fmt.Sprintf("%.3g A", l.CurrentA))
	}
	if l.Pulsed {
		words = append(words, "pulsed with the probe at rest")
	}
	if l.Substitute {
		words = append(words, "a supply or resistor replaced the motor, so the leads only")
	}
	if l.Factor > 1.005 {
		words = append(words, fmt.Sprintf("scaled up by %.2f to the maximum", l.Factor))
	}
	return strings.Join(words, ", ")
}

// runs lists the runs and what was confirmed before them.
func (m *sheetMaker) runs() sheet.Section {
	t := sheet.Table{Columns: []sheet.Column{
		{Name: "run", Words: true}, {Name: "state", Words: true}, {Name: "current", Unit: "A"}, {Name: "started", Words: true}, {Name: "valid captures"}, {Name: "how", Words: true},
	}}
	for _, r := range m.f.Runs {
		t.Rows = append(t.Rows, runRow(r, ""))
	}
	for _, r := range m.f.Proofs {
		t.Rows = append(t.Rows, runRow(r, "proof at the spot"))
	}
	if len(t.Rows) == 0 {
		return sheet.Section{}
	}
	blocks := []sheet.Block{t}
	for _, words := range m.confirmed() {
		blocks = append(blocks, sheet.Text{Small: true, Body: words})
	}
	return sheet.Section{Title: "Runs", Blocks: blocks}
}

// confirmed states what was confirmed before which runs.
func (m *sheetMaker) confirmed() []string {
	before := map[string][]string{} // runs by what was confirmed
	var order, out []string
	for _, r := range m.surveyRuns() {
		if len(r.Header.Confirmed) == 0 {
			continue
		}
		items := make([]string, len(r.Header.Confirmed))
		for i, c := range r.Header.Confirmed {
			items[i] = strings.TrimRight(c, ". ")
		}
		words := strings.Join(items, "; ")
		if before[words] == nil {
			order = append(order, words)
		}
		before[words] = append(before[words], fmt.Sprint(r.Header.Run))
	}
	for _, words := range order {
		out = append(out, fmt.Sprintf("Confirmed before run %s: %s.", say.Listed(before[words]), words))
	}
	return out
}

// runRow returns the row of a run.
func runRow(r *logbook.Run, purpose string) sheet.Row {
	h := r.Header
	current, started := "–", "–"
	if h.CurrentA != nil {
		current = fmt.Sprintf("%.3g", *h.CurrentA)
	}
	if !h.Started.IsZero() {
		started = h.Started.Format("2006-01-02 15:04 -07:00")
	}
	how := howWords(h)
	if purpose != "" {
		how = purpose + "; " + how
	}
	return sheet.Row{Cells: []string{fmt.Sprint(h.Run), h.State, current, started, fmt.Sprint(len(r.Valid())), how}}
}

// howWords describes how a run was made.
func howWords(h logbook.Header) string {
	var words []string
	add := func(yes bool, s string) {
		if yes {
			words = append(words, s)
		}
	}
	add(h.Pulsed, "pulsed")
	add(h.Substitute, "substitute load")
	add(h.Imported, "imported")
	add(h.Axes == nil, "no axes known")
	add(h.Calibration != "", "calibration "+h.Calibration)
	add(h.Calibration == "", "not calibrated")
	add(len(h.Fitted) > 0, "fitted: "+say.Listed(h.Fitted))
	add(len(h.Confirmed) > 0, say.Counted(len(h.Confirmed), "caution")+" confirmed, see below")
	return strings.Join(words, "; ")
}

// leftOut lists what was not used, and why.
func (m *sheetMaker) leftOut() sheet.Section {
	t := sheet.Table{Columns: []sheet.Column{{Name: "where", Words: true}, {Name: "what", Words: true}, {Name: "why", Words: true}}}
	add := func(where, what, why string) {
		t.Rows = append(t.Rows, sheet.Row{Cells: []string{where, what, orDash(why)}})
	}
	for _, r := range m.surveyRuns() {
		leftOutOfRun(r, fmt.Sprintf("run %d", r.Header.Run), add)
	}
	for _, s := range m.o.Checks {
		leftOutOfRun(s.Run, fmt.Sprintf("%s %d", s.Swing.What, s.Header.Run), add)
	}
	for _, r := range m.o.Unused {
		add(fmt.Sprintf("run %d", r.Header.Run), "the whole run, "+r.Header.State, "not among the runs selected for this sheet")
	}
	for _, s := range m.f.Stations {
		if s.Saturated {
			add(s.Station.Name, "capture left out", "the probe reached its full scale")
		}
	}
	for _, p := range m.o.Problems {
		add(p.File, string(p.Severity), p.Text)
	}
	s := sheet.Section{Title: "What was left out", Blocks: []sheet.Block{t}}
	if len(t.Rows) == 0 {
		s.Blocks = []sheet.Block{sheet.Text{Body: "Nothing: no capture was voided or refused, no station skipped, and every file could be read."}}
	}
	return s
}

// leftOutOfRun lists what was not used of a run.
func leftOutOfRun(r *logbook.Run, name string, add func(where, what, why string)) {
	where := func(station string) string { return strings.TrimRight(name+", "+station, ", ") }
	for _, c := range r.Captures {
		if c.Void != "" {
			add(where(c.Station), fmt.Sprintf("capture %d voided", c.Number), c.Void)
		}
	}
	for _, n := range r.Notes {
		switch n.Kind {
		case logbook.NoteRejected:
			add(where(n.Station), "dwell refused", n.Text)
		case logbook.NoteSkipped:
			add(where(n.Station), "station skipped", n.Text)
		}
	}
	for _, w := range r.Warnings {
		add(where(""), "reading the file", words.Terminal.Placed(w))
	}
}

// methods explains in two paragraphs how the numbers were obtained.
func (m *sheetMaker) methods() sheet.Section {
	f := m.f
	first := "The probe stood at each station for some seconds, arrow to the nose. Each capture is a robust mean of its samples with an uncertainty from their scatter, " +
		"their dependence on one another, and the hand's scatter in attitude and place. Drift and the room's own field were estimated together with the craft's, using the returns to the base station. "
	if f.Basis == evaluate.BasisVector {
		first += "The steady part is the field with the craft minus that of the room without it. "
	} else {
		first += "No background was measured: the steady part is based on magnitudes against the reference field and is less certain. "
	}
	first += "The shifting part is the field with a load on minus that with it off, scaled to the load's largest current, and summed over the worst combination of loads that can be on together."
	second := "Between stations the vector field was interpolated with its uncertainty, and checked by predicting each station from the others. " +
		"A heading error is the largest that the disturbance can cause in this site's horizontal field, over all headings and the leans stated above, with the module set down as far off as stated; the estimate is the middle and the bound the 95 % point of its distribution. " +
		"Spots are ordered by the expected error of the shifting part, its bound deciding what is within the budget, after those against keep-outs, clearances, cable, balance or the steady limit are removed."
	return sheet.Section{Title: "How these numbers were obtained", Blocks: []sheet.Block{sheet.Text{Body: first}, sheet.Text{Body: second}}}
}

// cautions returns the warnings that are on every sheet.
func (m *sheetMaker) cautions() sheet.Section {
	return sheet.Section{Title: "What this sheet does not say", Boxed: true, Blocks: []sheet.Block{sheet.List{Items: []string{
		"It is for small uncrewed craft. It is no substitute for certified compass adjustment, local rules or licensed practice.",
		"It says nothing about satellite reception.",
		"It holds for the craft as it was fitted in the runs above.",
		"Before any powered run: propellers off (a reversed propeller is not a safe load either), wheels off the ground, the craft tied down, one hand on the cut-off. Motors without propellers are not run at full throttle for long, water-cooled thrusters only for seconds in air, a radio or video sender never without its antenna nor long without airflow; servos are not driven into their stops.",
		"Strong magnets, blades and hot glue hurt; magnets stay away from pacemakers and cards; batteries are handled as their maker says.",
	}}}}
}
