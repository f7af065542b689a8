package record

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"quietmount/report/picture"
	"quietmount/report/say"
	"quietmount/report/sheet"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// fewStations is the number of stations below which a map between them is
// unreliable (common practice, no source).
const fewStations = 8

// Weaknesses returns, in sentences, what a record of these findings lacks. The
// sheet lists the same.
func Weaknesses(ctx context.Context, f *evaluate.Findings, ranking *rank.Ranking, o Options) []string {
	return newSheetMaker(ctx, f, ranking, o).lacks()
}

// lacks returns what is weak, what was not measured, and the notes of the
// evaluation.
func (m *sheetMaker) lacks() []string {
	items := append(m.weakness(), m.notMeasured()...)
	items = append(items, sentences(words.Page.Together(m.f.Notes))...)
	if m.ranking != nil {
		items = append(items, sentences(words.Terminal.Together(m.ranking.Notes))...)
	}
	return unique(items)
}

// weak returns the section about what the answer lacks.
func (m *sheetMaker) weak() sheet.Section {
	items := m.lacks()
	s := sheet.Section{Title: "What is weak, and what was not measured"}
	if len(items) == 0 {
		s.Blocks = []sheet.Block{sheet.Text{Body: "Nothing known."}}
		return s
	}
	s.Blocks = []sheet.Block{sheet.List{Items: items}}
	return s
}

// weakness returns the weak points of what was measured.
func (m *sheetMaker) weakness() []string {
	out := slices.Clone(m.failures)
	add := func(yes bool, format string, args ...any) {
		if yes {
			out = append(out, fmt.Sprintf(format, args...))
		}
	}
	f, s := m.f, m.subject.spot
	if p := m.proof; p != nil && p.Failed {
		add(true, "The proof at the spot contradicts the map: %s.", words.Terminal.Say(p.Why))
	}
	add(m.o.Promise != nil && !m.o.Promise.Kept, "The finished craft's steady part is not what the map promised: something was fitted, turned or magnetised since the survey, or the module is in another place.")
	add(m.ranking != nil && !m.ranking.Qualified, "No spot keeps all limits. %s", m.rank.Why)
	add(f.Basis == evaluate.BasisMagnitude, "No background was measured: the steady part is based on magnitudes against the reference field, which is much less certain, and its sources cannot be found.")
	add(m.subject.lost != nil, "The chosen spot could not be judged: %v. The sheet is about the first spot of the ranking, if there is one.", m.subject.lost)
	switch n := len(f.Stations); {
	case n == 0:
		add(true, "No station was measured.")
	case n < fewStations:
		add(true, "Only %s measured: the map between them is little more than a guess.", say.Counted(n, "station")+say.YesNo(n == 1, " was", " were"))
	}
	add(s != nil && s.Interpolated, "The spot lies between stations: measure there before trusting it.")
	add(s != nil && s.NotToldFromBest && s.Rank != 1, "The difference from the best spot is not significant.")
	if s != nil {
		add(s.ExtrapolationFactor > 2.005, "Currents were scaled up by %.2g: the measured effect is small compared with the stated one.", s.ExtrapolationFactor)
	}
	for _, part := range []string{picture.PartShifting, picture.PartSteady} {
		l, ok := f.LeftOut[part]
		add(ok && l.Stations > 4 && l.Inside95Fraction < 0.85, "Of the %s part only %.0f %% of the stations, predicted from the others, lie within their 95 %% interval: the map's uncertainty is too small.", part, 100*l.Inside95Fraction)
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
	add(axesless > 0, "In %s the sensor's axes were not known: directions there are those of the sensor, not of the craft.", say.Counted(axesless, "run"))
	add(raw > 0, "The probe was not calibrated in %s: that matters little for differences, but for absolute fields it does.", say.Counted(raw, "run"))
	return out
}

// notMeasured returns what nobody measured.
func (m *sheetMaker) notMeasured() []string {
	var out []string
	var missing []string
	for _, l := range m.f.Loads {
		switch {
		case !l.Measured:
			missing = append(missing, l.Name)
		case l.Substitute:
			out = append(out, fmt.Sprintf("Of the load %q only the leads were measured: a supply or a resistor replaced the motor.", l.Name))
		}
	}
	if len(missing) > 0 {
		out = append(out, "Not measured: "+say.Listed(missing)+". The bounds do not include them.")
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
	return append(out, "Not examined: satellite reception, vibration, heat, and fields that change faster than the probe samples.")
}

// uncertainties states what the bounds of the numbers contain.
func (m *sheetMaker) uncertainties() sheet.Section {
	f := m.f
	var rows facts
	add := rows.add
	add("bounds", "one-sided, 95 %%, from the joint distribution of all estimated quantities")
	add("hand", "attitude scatter %.1f°, placement scatter %.1f mm, as estimated from repeats", f.PoseDeg, f.PlaceMM)
	for _, part := range []string{picture.PartShifting, picture.PartSteady} {
		if l, ok := f.LeftOut[part]; ok && !math.IsNaN(l.RMSEUT) {
			add("map, "+part+" part", "each station predicted from the others: error %.2f µT a component (rms); %.0f %% lie inside their 95 %% interval, %s", l.RMSEUT, 100*l.Inside95Fraction, say.Counted(l.Stations, "station"))
		}
	}
	add("extrapolation", "%s", factorWords(f.Factor))
	if m.sources != nil {
		add("sources", "those found leave %.0f %% of what was measured unexplained", 100*m.sources.Unexplained)
	}
	return sheet.Section{Title: "Uncertainties", Blocks: []sheet.Block{sheet.Facts{Rows: rows}}}
}

// validity states when the sheet stops being valid.
func (m *sheetMaker) validity() sheet.Section {
	c := m.f.Craft
	items := []string{"A motor, servo, magnet, screw of steel, speaker, camera or lead was added, moved or exchanged within reach of the module, or near a lead that it must keep away from."}
	if f := c.Body.Fitted; len(f) > 0 {
		items = append(items, "The craft is fitted with anything other than "+say.Listed(f)+".")
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
		"The module was moved by more than the placement tolerance, turned, raised, or exchanged for another type.",
		fmt.Sprintf("It is used where the horizontal field is much weaker than %.1f µT: at half of it every error is about twice as large.", m.f.HUT),
		"A hard landing, a strong magnet laid on it, or welding may have magnetised its steel.",
	)
	return sheet.Section{Title: "When this sheet stops being valid", Blocks: []sheet.Block{
		sheet.Text{Body: "Survey again (quietmount compare tells whether the verdict still stands) when:"}, sheet.List{Items: items},
	}}
}

// sentences returns each text with a capital, a full stop and µT for uT, without
// empty ones.
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

// unique returns the texts without repetitions, in their order.
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
