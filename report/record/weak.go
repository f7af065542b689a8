package record

import (
	"fmt"
	"math"
	"strings"

	"quietmount/report/picture"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/survey/findings"
)

// fewStations are so few that a map between them says little (common practice,
// no source).
const fewStations = 8

// Weaknesses say plainly, in sentences, what a record of these findings would
// lack; the sheet carries the same.
func Weaknesses(f *findings.Findings, ranking *findings.Ranking, o Options) []string {
	return newSheetMaker(f, ranking, o).lacks()
}

func (m *sheetMaker) lacks() []string {
	items := append(m.weakness(), m.notMeasured()...)
	items = append(items, sentences(m.f.Notes)...)
	if m.ranking != nil {
		items = append(items, sentences(m.ranking.Notes)...)
	}
	return unique(items)
}

// weak says plainly what the answer lacks.
func (m *sheetMaker) weak() sheet.Section {
	items := m.lacks()
	s := sheet.Section{Title: "What is weak, and what was not measured"}
	if len(items) == 0 {
		s.Blocks = []sheet.Block{sheet.Text{Body: "Nothing that the tool knows of."}}
		return s
	}
	s.Blocks = []sheet.Block{sheet.List{Items: items}}
	return s
}

func (m *sheetMaker) weakness() []string {
	var out []string
	add := func(yes bool, format string, args ...any) {
		if yes {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	f, s := m.f, m.subject.spot
	add(m.ranking != nil && !m.ranking.Qualified, "No spot keeps all limits. %s", m.rank.Why)
	add(f.Basis == findings.BasisMagnitude, "No background was measured: the steady part rests on magnitudes against the reference field, a much weaker basis, and no source of it can be found.")
	add(m.subject.lost != nil, "The chosen spot could not be judged: %v. The sheet speaks of the first of the ranking, if there is one.", m.subject.lost)
	switch n := len(f.Stations); {
	case n == 0:
		add(true, "No station was measured.")
	case n < fewStations:
		add(true, "Only %s measured: what lies between is little more than a guess.", countedWere(n, "station"))
	}
	add(s != nil && s.Interpolated, "The spot lies between stations: measure there before trusting it.")
	add(s != nil && s.NotToldFromBest && s.Rank != 1, "The spot cannot be told from the best one.")
	if s != nil {
		add(s.ExtrapolationFactor > 2.005, "Currents were scaled up by %.2g: what was measured is small beside what is claimed.", s.ExtrapolationFactor)
	}
	for _, part := range []string{picture.PartShifting, picture.PartSteady} {
		l, ok := f.LeftOut[part]
		add(ok && l.Stations > 4 && l.Inside95Fraction < 0.85, "Of the %s part only %.0f %% of the stations, predicted from the others, lie within their 95 %% interval: the map is surer of itself than it should be.", part, 100*l.Inside95Fraction)
	}
	axesless, raw := 0, 0
	for _, r := range f.Runs {
		if r.Header.Axes == nil {
			axesless++
		}
		if r.Header.Calibration == "" && !r.Header.Imported {
			raw++
		}
	}
	add(axesless > 0, "In %s it was not known how the sensor lies: directions there are those of the sensor, not of the craft.", say.Counted(axesless, "run"))
	add(raw > 0, "The probe was not calibrated in %s: differences are little hurt by that, absolute fields are.", say.Counted(raw, "run"))
	return out
}

func countedWere(n int, noun string) string {
	return say.Counted(n, noun) + say.YesNo(n == 1, " was", " were")
}

// notMeasured are things that nobody measured.
func (m *sheetMaker) notMeasured() []string {
	var out []string
	var missing []string
	for _, l := range m.f.Loads {
		switch {
		case !l.Measured:
			missing = append(missing, l.Name)
		case l.Substitute:
			out = append(out, fmt.Sprintf("Of the load %q only the leads: a supply or a resistor took the motor's place.", l.Name))
		}
	}
	if len(missing) > 0 {
		out = append(out, "Not measured: "+say.Listed(missing)+". The bounds say nothing of them.")
	}
	if len(m.f.Craft.Loads) == 0 {
		out = append(out, "The craft file names no load: what changes with throttle or servos is unknown.")
	}
	if m.proof == nil || m.proof.Measured == nil {
		out = append(out, "The spot was not proved with the module itself in place.")
	}
	if m.o.Arrow == nil {
		out = append(out, "The arrow was not checked.")
	}
	if m.o.Swing == nil {
		out = append(out, "The finished craft was not swung.")
	}
	return append(out, "Not looked at: satellite reception, vibration, heat, and fields that change faster than the probe samples.")
}

// uncertainties say what the numbers' bounds hold.
func (m *sheetMaker) uncertainties() sheet.Section {
	f := m.f
	var rows []sheet.Fact
	add := func(name, format string, args ...any) {
		rows = append(rows, sheet.Fact{Name: name, Value: fmt.Sprintf(format, args...)})
	}
	add("bounds", "one-sided, 95 %%, from the joint distribution of all that was estimated together")
	add("hand", "attitude scatter %.1f°, placement scatter %.1f mm, as estimated from repeats", f.PoseDeg, f.PlaceMM)
	for _, part := range []string{picture.PartShifting, picture.PartSteady} {
		if l, ok := f.LeftOut[part]; ok && !math.IsNaN(l.RMSEUT) {
			add("map, "+part+" part", "each station predicted from the others is missed by %.2f µT a component (rms); %.0f %% lie inside their 95 %% interval, %s", l.RMSEUT, 100*l.Inside95Fraction, say.Counted(l.Stations, "station"))
		}
	}
	add("extrapolation", "%s", factorWords(f.Factor))
	if m.sources != nil {
		add("sources", "%.0f %% of what was measured is left unexplained by those found", 100*m.sources.Unexplained)
	}
	return sheet.Section{Title: "Uncertainties", Blocks: []sheet.Block{sheet.Facts{Rows: rows}}}
}

// validity says when the sheet ceases to hold.
func (m *sheetMaker) validity() sheet.Section {
	c := m.f.Craft
	items := []string{"A motor, servo, magnet, screw of steel, speaker, camera or lead was added, moved or exchanged within reach of the module, or near a lead that it must keep away from."}
	if f := c.Body.Fitted; len(f) > 0 {
		items = append(items, "It carries other than "+say.Listed(f)+".")
	}
	for _, p := range c.Parts {
		if p.SlideMM != nil {
			items = append(items, fmt.Sprintf("The %s was moved along its slide after the survey.", strings.TrimPrefix(p.Name, "the ")))
		}
	}
	for _, l := range c.Loads {
		if l.MaxCurrentA > 0 {
			items = append(items, fmt.Sprintf("The load %q takes more than %s A.", l.Name, say.Short(l.MaxCurrentA)))
		}
	}
	items = append(items,
		"The module was moved by more than the spot may be missed by, turned, raised, or exchanged for another type.",
		fmt.Sprintf("It is used where the horizontal field is much weaker than %.1f µT: at half of it every error is about twice as large.", m.f.HUT),
		"A hard landing, a strong magnet laid on it, or welding may have magnetised its steel.",
	)
	return sheet.Section{Title: "What ends its validity", Blocks: []sheet.Block{
		sheet.Text{Body: "Survey again (quietmount compare tells whether the verdict still stands) when:"}, sheet.List{Items: items},
	}}
}

// sentences end with a full stop and begin with a capital, and speak of µT.
func sentences(all []string) []string {
	var out []string
	for _, s := range all {
		if s = strings.TrimSpace(strings.ReplaceAll(s, " uT", " µT")); s == "" {
			continue
		}
		if !strings.ContainsAny(s[len(s)-1:], ".!?") {
			s += "."
		}
		out = append(out, say.Capital(s))
	}
	return out
}

// unique keeps the first of equals.
func unique(all []string) []string {
	seen := map[string]bool{}
	var out []string
	for _, s := range all {
		if !seen[s] {
			out = append(out, s)
		}
		seen[s] = true
	}
	return out
}
