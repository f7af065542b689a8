package verify

import (
	"errors"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// run checks one run that could be read, alone and against the craft file.
func (v *verifier) run(r *logbook.Run) {
	for _, w := range r.Warnings {
		v.warn(r.File, w.Place.Line, w)
	}
	v.runHeader(r)
	extra := map[string]survey.Station{}
	for _, e := range slices.Backward(r.Header.Extra) { // of two with one name the first counts
		extra[e.Name] = e
	}
	valid := 0
	for i := range r.Captures {
		if v.ctx.Err() != nil {
			return
		}
		c := &r.Captures[i]
		if c.Void == "" {
			valid++
			v.place(r, extra, c, r.Lines[i])
			v.capture(r, c, r.Lines[i])
		}
	}
	if valid == 0 {
		v.warn(r.File, 0, remark.New("verify.no-capture-counts"))
	}
	if r.Header.Pulsed {
		v.pulses(r)
	}
	v.order(r)
}

func (v *verifier) runHeader(r *logbook.Run) {
	h := &r.Header
	if h.Axes == nil {
		v.warn(r.File, 1, remark.New("verify.no-axes"))
	} else if !h.Axes.Finite() || math.Abs(h.Axes.Det()) < 1e-6 {
		v.error(r.File, 1, remark.New("verify.bad-axes"))
	}
	if h.Correction != nil && math.Abs(h.Correction.Matrix.Det()) < 1e-9 {
		v.error(r.File, 1, remark.New("verify.bad-matrix"))
	}
	if h.Calibration != "" {
		if _, err := logbook.LoadCorrection(v.dir, h.Calibration); err != nil {
			v.warn(r.File, 1, remark.New("verify.lost-calibration", remark.Values{"error": err.Error()}))
		}
	}
	if v.craft == nil {
		return
	}
	if err := v.craft.State(h.State); err != nil {
		v.error(r.File, 1, remark.New("verify.no-state", remark.Values{"error": err}))
	}
	if h.CraftSHA256 != "" && h.CraftSHA256 != v.craft.SHA256 {
		v.warn(r.File, 1, remark.New("verify.craft-changed"))
	}
	load, ok := v.craft.LoadByName(h.State)
	if !ok {
		return
	}
	if load.MaxCurrentA > 0 && h.CurrentA != nil && *h.CurrentA > load.MaxCurrentA {
		v.warn(r.File, 1, remark.New("verify.current-above-limit", remark.Values{"current_a": *h.CurrentA, "max_current_a": load.MaxCurrentA}).At(remark.Place{Load: load.Name}))
	}
	if load.Kind == survey.LoadCurrent && h.CurrentA == nil && !hasTelemetry(r) {
		v.warn(r.File, 1, remark.New("verify.current-unknown").At(remark.Place{Load: load.Name}))
	}
}

func hasTelemetry(r *logbook.Run) bool {
	return slices.ContainsFunc(r.Captures, func(c logbook.Capture) bool {
		return slices.ContainsFunc(c.Samples, func(s survey.Sample) bool { return s.Has&survey.HasCurrent != 0 })
	})
}

func (v *verifier) capture(r *logbook.Run, c *logbook.Capture, line int) {
	if len(c.Samples) == 0 {
		v.error(r.File, line, remark.New("verify.no-samples").At(at(c)))
		return
	}
	for i := 1; i < len(c.Samples); i++ {
		if c.Samples[i].TS < c.Samples[i-1].TS {
			v.error(r.File, line, remark.New("verify.time-backwards", remark.Values{"sample": i + 1}).At(at(c)))
			break
		}
	}
	if v.craft != nil {
		// The evaluation leaves the capture out too.
		if why, unusable := c.AtFullScale(v.craft.MeasuringModule().RangeUT); unusable {
			v.warn(r.File, line, why)
		}
	}
}

// at returns the place of a remark on a capture.
func at(c *logbook.Capture) remark.Place { return remark.Place{Capture: c.Number, Station: c.Station} }

// place compares the place of a capture with that of its station: one of the
// run's extra stations, else one of the craft file.
func (v *verifier) place(r *logbook.Run, extra map[string]survey.Station, c *logbook.Capture, line int) {
	if v.craft == nil {
		return
	}
	marked, ok := extra[c.Station]
	if !ok {
		marked, ok = v.stations[c.Station]
	}
	switch d := r3.Norm(r3.Sub(marked.At, c.At)); {
	case !ok && r.Header.Imported:
		v.warn(r.File, line, remark.New("verify.own-station").At(at(c)))
	case !ok:
		v.error(r.File, line, remark.New("verify.no-station").At(at(c)))
	case d > survey.PlaceSlackMM:
		v.warn(r.File, line, remark.New("verify.moved-station", remark.Values{"by_mm": d}).At(at(c)))
	}
}

// pulses names the captures of a pulsed run that the evaluation leaves out
// because of their pulses. What makes a capture unreadable is named elsewhere.
func (v *verifier) pulses(r *logbook.Run) {
	p, whole := r.Pulses(v.ctx)
	for k, c := range p.Captures {
		err := whole
		if err == nil {
			err = dwell.Usable(p.Series[k], p.Lag, p.Options)
		}
		line := r.Lines[p.Index[k]]
		if few, ok := errors.AsType[*dwell.FewPulsesError](err); ok {
			v.warn(r.File, line, remark.New("verify.few-pulses", remark.Values{"pulses": few.Got, "least": few.Need}).At(at(&c)))
		} else if errors.Is(err, dwell.ErrNoTiming) {
			v.error(r.File, line, remark.New("verify.untimed").At(at(&c)))
		}
	}
}

// order looks at numbers and times over the whole run.
func (v *verifier) order(r *logbook.Run) {
	for i := 1; i < len(r.Captures); i++ {
		a, b := &r.Captures[i-1], &r.Captures[i]
		if b.Number < a.Number {
			v.warn(r.File, r.Lines[i], remark.New("verify.number-order", remark.Values{"before": a.Number}).At(at(b)))
		}
		if b.Time.Before(a.Time) {
			v.warn(r.File, r.Lines[i], remark.New("verify.time-order", remark.Values{"before": a.Number}).At(at(b)))
		}
	}
}
