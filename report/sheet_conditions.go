package report

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/findings"
)

// fact is a named value of the sheet.
type fact struct{ Name, Value string }

type conditionsView struct {
	Facts []fact
	Notes []string
}

func conditionsOf(f *findings.Findings) conditionsView {
	c := f.Craft
	v := conditionsView{Notes: f.Notes}
	add := func(name, format string, args ...any) {
		v.Facts = append(v.Facts, fact{name, fmt.Sprintf(format, args...)})
	}
	add("site", "%.4f°, %.4f° (latitude, longitude), %.0f m", c.Site.LatitudeDeg, c.Site.LongitudeDeg, c.Site.AltitudeM)
	add("reference field", "%.1f µT, horizontal %.1f µT, dip %.1f°, declination %.1f° on %s", f.Reference.F/1000, f.HUT, f.Reference.I, f.Reference.D, f.Date)
	add("basis", "%s", basisWords(f.Basis))
	add("limits", "shifting heading error %s degrees (%s); steady part %s µT", short(c.Limits.HeadingErrorDeg), attitudes(c.Limits.TiltDeg), short(c.Limits.SteadyUT))
	add("module", "%s, %s g; measured with %s", c.Module.Name, short(c.Module.MassG), c.Measures().Name)
	add("hand", "attitude scatter %.1f°, placement scatter %.1f mm, as estimated from repeats", f.PoseDeg, f.PlaceMM)
	for _, r := range f.Rooms {
		v.Facts = append(v.Facts, fact{"set-up " + r.Session, roomWords(r)})
	}
	for _, d := range f.Drift {
		if d.Return != nil {
			add(fmt.Sprintf("base, run %d", d.Run), "last less first: %.2f µT, expected from hand and noise %.2f µT a component", r3.Norm(d.Return.ChangeUT), d.Return.SDUT)
		}
	}
	for _, l := range f.Loads {
		v.Facts = append(v.Facts, fact{"load " + l.Name, loadWords(l)})
	}
	return v
}

func roomWords(r findings.RoomFinding) string {
	s := "nose not stated"
	if r.NoseDeg != nil {
		s = fmt.Sprintf("nose at %.0f° magnetic", *r.NoseDeg)
	}
	s += ", " + counted(r.Backgrounds, "background capture")
	if r.FieldUT != nil {
		s += fmt.Sprintf(", room field %.1f µT", r3.Norm(*r.FieldUT))
		if r.MisfitP < 0.05 {
			s += "; a smooth room does not explain them all"
		}
	}
	return s
}

func loadWords(l findings.LoadFinding) string {
	if !l.Measured {
		return "not measured"
	}
	words := []string{"at " + counted(l.Stations, "station")}
	if l.CurrentA > 0 {
		words = append(words, fmt.Sprintf("%.3g A", l.CurrentA))
	}
	if l.Pulsed {
		words = append(words, "pulsed with the probe at rest")
	}
	if l.Substitute {
		words = append(words, "a supply or resistor in the motor's place, so the leads only")
	}
	if l.Factor > 1.005 {
		words = append(words, fmt.Sprintf("scaled up by %.2f to the maximum", l.Factor))
	}
	return strings.Join(words, ", ")
}

type runView struct {
	Number         int
	State, Current string
	Begun          string
	Captures       int
	How            string
}

// runsView are the runs and what was confirmed before them.
type runsView struct {
	Rows      []runView
	Confirmed []string
}

func runsOf(f *findings.Findings) runsView {
	v := runsView{Rows: runViews(f)}
	before := map[string][]string{} // runs by what was confirmed
	var order []string
	for _, r := range f.Runs {
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
		v.Confirmed = append(v.Confirmed, fmt.Sprintf("Confirmed before run %s: %s.", listed(before[words]), words))
	}
	return v
}

func runViews(f *findings.Findings) []runView {
	var out []runView
	for _, r := range f.Runs {
		h := r.Header
		v := runView{Number: h.Run, State: h.State, Current: "–", Captures: len(r.Valid()), How: howWords(h)}
		if h.HasCurrent {
			v.Current = fmt.Sprintf("%.3g", h.CurrentA)
		}
		if !h.Started.IsZero() {
			v.Begun = h.Started.Format("2006-01-02 15:04 -07:00")
		}
		out = append(out, v)
	}
	return out
}

func howWords(h survey.Header) string {
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
	add(len(h.Fitted) > 0, "fitted: "+listed(h.Fitted))
	add(len(h.Confirmed) > 0, counted(len(h.Confirmed), "caution")+" confirmed, see below")
	return strings.Join(words, "; ")
}

type leftOutView struct{ Where, What, Why string }

// leftOutViews lists what the findings do not rest on, and why.
func leftOutViews(f *findings.Findings, problems []survey.Problem) []leftOutView {
	var out []leftOutView
	for _, r := range f.Runs {
		where := func(station string) string {
			return strings.TrimRight(fmt.Sprintf("run %d, %s", r.Header.Run, station), ", ")
		}
		for _, c := range r.Captures {
			if c.Void != "" {
				out = append(out, leftOutView{where(c.Station), fmt.Sprintf("capture %d voided", c.Number), c.Void})
			}
		}
		for _, n := range r.Notes {
			switch n.Kind {
			case survey.NoteRejected:
				out = append(out, leftOutView{where(n.Station), "dwell refused", n.Text})
			case survey.NoteSkipped:
				out = append(out, leftOutView{where(n.Station), "station skipped", n.Text})
			}
		}
		for _, w := range r.Warnings {
			out = append(out, leftOutView{where(""), "reading the file", w})
		}
	}
	for _, s := range f.Stations {
		if s.Saturated {
			out = append(out, leftOutView{s.Station.Name, "capture left out", "the probe reached its full scale"})
		}
	}
	for _, p := range problems {
		out = append(out, leftOutView{p.File, string(p.Severity), p.Text})
	}
	return out
}

// methods say in two paragraphs how the numbers came about.
func methods(f *findings.Findings) []string {
	first := "The probe stood at each station for some seconds, arrow to the nose. Each capture is a robust mean of its samples with an uncertainty from their scatter, " +
		"their dependence on one another, and the hand's scatter in attitude and place. Drift and the room's own field were estimated together with the craft's, using the returns to the base station. "
	if f.Basis == findings.BasisVector {
		first += "The steady part is the field with the craft less that of the room without it. "
	} else {
		first += "No background was measured: the steady part rests on magnitudes against the reference field and is weaker for it. "
	}
	first += "The shifting part is the field with a load on less that with it off, scaled to the load's largest current, and added up over the loads that can be on together in the worst way."
	second := "Between stations the vector field was interpolated with its uncertainty, and checked by predicting each station from the others. " +
		"A heading error is the largest over all headings that the disturbance can cause in this site's horizontal field; the estimate is the middle and the bound the 95 % point of its distribution. " +
		"Spots are ordered by that bound of the shifting part, after keep-outs, clearances, cable, balance and the steady limit have taken what they forbid."
	if words := leftOutWords(f); words != "" {
		second += " " + words
	}
	return []string{first, second}
}

func leftOutWords(f *findings.Findings) string {
	var out []string
	for _, part := range []string{PartShifting, PartSteady} {
		if l, ok := f.LeftOut[part]; ok && !math.IsNaN(l.RMSEUT) {
			out = append(out, fmt.Sprintf("The check missed the %s part by %.2f µT a component (rms), with %.0f %% inside the 95 %% intervals.", part, l.RMSEUT, 100*l.Inside95Fraction))
		}
	}
	return strings.Join(out, " ")
}
