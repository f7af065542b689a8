package evaluate

import (
	"math"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Relative standard uncertainties of the current of a run, the same factor for all of
// its captures. Common practice, no source.
const (
	TypedCurrentSD   = 0.05  // read off a meter and typed
	MeteredCurrentSD = 0.015 // measured beside the samples
)

// currentSD returns the relative standard uncertainty of the current at which a load
// was measured, the largest of its runs; 0 for a moving part.
func (e *evaluation) currentSD(load int) float64 {
	if e.f.Craft.Loads[load].Kind != survey.LoadCurrent {
		return 0
	}
	sd, ok := e.currentSDs[load]
	if ok {
		return sd
	}
	sd = MeteredCurrentSD
	for _, r := range e.f.Runs {
		if e.load(r.Header.State) == load && !metered(r) {
			sd = TypedCurrentSD
		}
	}
	e.currentSDs[load] = sd
	return sd
}

// metered reports whether the current of a run is one measured beside its samples: one
// that the header states is used rather, see runCurrent.
func metered(r *logbook.Run) bool {
	if _, ok := typedCurrent(r); ok {
		return false
	}
	for _, c := range r.Valid() {
		for _, s := range c.Samples {
			if s.Has&survey.HasCurrent != 0 {
				return true
			}
		}
	}
	return false
}

// level returns how far a run drove its load, as part of the maximum current.
func (e *evaluation) level(r *logbook.Run, l survey.Load) float64 {
	a, ok := e.current(r)
	return levelOf(l, a, ok)
}

// levelOf returns a current as part of a load's maximum: 1 for a moving part, and
// for a current that is not stated.
func levelOf(l survey.Load, currentA float64, stated bool) float64 {
	if l.Kind == survey.LoadMoving || !(l.MaxCurrentA > 0) || !stated {
		return 1
	}
	return currentA / l.MaxCurrentA
}

// current is the current of a run, amperes; ok reports whether anything states it.
type current struct {
	a  float64
	ok bool
}

// current returns the current of a run as runCurrent does. It asks once a run:
// the telemetry of a whole run is looked through for it.
func (e *evaluation) current(r *logbook.Run) (float64, bool) {
	c, seen := e.currents[r]
	if !seen {
		c.a, c.ok = runCurrent(r)
		if e.currents == nil {
			e.currents = map[*logbook.Run]current{}
		}
		e.currents[r] = c
	}
	return c.a, c.ok
}

// typedCurrent is the current that the header of a run states; false where it states
// none, or zero.
func typedCurrent(r *logbook.Run) (float64, bool) {
	if a := r.Header.CurrentA; a != nil && *a != 0 && !math.IsNaN(*a) {
		return *a, true
	}
	return 0, false
}

// runCurrent is the current of a run while on, negative where the polarity was
// reversed: as stated in its header, else the telemetry's; false where neither says
// anything but zero.
func runCurrent(r *logbook.Run) (float64, bool) {
	if a, ok := typedCurrent(r); ok {
		return a, true
	}
	most := 0.0
	var all []float64
	for _, c := range r.Valid() {
		for _, s := range c.Samples {
			if s.Has&survey.HasCurrent != 0 {
				all = append(all, s.CurrentA)
				most = max(most, math.Abs(s.CurrentA))
			}
		}
	}
	var on []float64
	for _, a := range all {
		if math.Abs(a) > most/2 {
			on = append(on, a)
		}
	}
	a := medianOr(on, 0)
	return a, a != 0
}

// takeLoads says how each load of the craft file was measured.
func (e *evaluation) takeLoads() {
	for i, l := range e.f.Craft.Loads {
		lf := LoadFinding{Name: l.Name, Factor: 1, CurrentSD: e.currentSD(i)}
		unstated := false
		for k := range e.obs {
			o := &e.obs[k]
			if o.Load != i || !e.determined(o.Station, i) {
				continue
			}
			r := e.f.Runs[o.Run]
			lf.Measured = true
			lf.Pulsed = lf.Pulsed || o.Pulsed
			lf.Substitute = lf.Substitute || r.Header.Substitute
			if l.Kind == survey.LoadCurrent {
				if a, ok := e.current(r); ok {
					lf.CurrentA = max(lf.CurrentA, math.Abs(a))
				} else {
					unstated = true
				}
			}
		}
		if lf.CurrentA > 0 && l.MaxCurrentA > 0 {
			lf.Factor = max(1, l.MaxCurrentA/lf.CurrentA)
		}
		for s := range e.index.stations {
			if _, ok := e.loadAt(s, i); ok {
				lf.Stations++
			}
		}
		lf.LackOfFitP = e.lackOfFit(i)
		e.f.Loads = append(e.f.Loads, lf)
		e.f.Factor = max(e.f.Factor, lf.Factor)
		e.f.note(lf.notes(l, unstated)...)
	}
}

// notes returns what is to be said of how a load was measured; unstated: some
// run of it does not say its current.
func (lf LoadFinding) notes(l survey.Load, unstated bool) []remark.Remark {
	var out []remark.Remark
	say := func(r remark.Remark) { out = append(out, r.At(remark.Place{Load: l.Name})) }
	if !lf.Measured {
		say(remark.New("evaluate.load_not_measured"))
		return out
	}
	if unstated {
		say(remark.New("evaluate.current_unstated", remark.Values{"max_current_a": l.MaxCurrentA}))
	}
	if lf.Factor > 1.05 {
		say(remark.New("evaluate.load_scaled", remark.Values{"current_a": lf.CurrentA, "factor": lf.Factor, "max_current_a": l.MaxCurrentA}))
	}
	if lf.LackOfFitP < misfitP {
		say(remark.New("evaluate.not_proportional", remark.Values{"p_value": lf.LackOfFitP}))
	}
	if lf.Substitute {
		say(remark.New("evaluate.substitute"))
	}
	return out
}

// loadAt is a load's field at a station at its maximum current; false where
// it was not determined.
func (e *evaluation) loadAt(station, load int) (Estimate, bool) {
	if !e.determined(station, load) {
		return Estimate{}, false
	}
	r, ok := e.result.Load(station, load)
	if !ok {
		return Estimate{}, false
	}
	est := Estimate{Mean: r.Mean, Cov: r.Cov}
	sd := e.currentSD(load)
	est.Cov = est.Cov.Add(outerScaled(est.Mean, sd*sd))
	return est, true
}

// determined reports whether the captures of a station tell a load from the
// rest: a pulsed one, or two levels of it, off being one.
func (e *evaluation) determined(station, load int) bool {
	type seen struct {
		room  int
		level float64
	}
	var levels []seen
	on := false
	for _, o := range e.of(station) {
		if !o.Craft {
			continue
		}
		if o.Pulsed {
			if o.Load == load {
				return true
			}
			continue
		}
		level := 0.0
		switch o.Load {
		case load:
			level, on = o.Level, true
		case -1:
		default:
			continue
		}
		for _, l := range levels {
			if l.room == o.Room && math.Abs(l.level-level) > 1e-6 && (on || level != 0) {
				return true
			}
		}
		levels = append(levels, seen{o.Room, level})
	}
	return false
}
