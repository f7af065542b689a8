package verify

import (
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/dwell"
	"quietmount/survey"
	"quietmount/survey/csvfile"
	"quietmount/survey/logbook"
)

// run checks one run that could be read, alone and against the craft file.
func (v *verifier) run(r *logbook.Run) {
	for _, w := range r.Warnings {
		line, text := splitWarning(w, r.File)
		v.warn(r.File, line, "%s", text)
	}
	v.runHeader(r)
	extra := map[string]survey.Station{}
	for _, e := range slices.Backward(r.Header.Extra) { // of two with one name the first counts
		extra[e.Name] = e
	}
	valid := 0
	for i := range r.Captures {
		c := &r.Captures[i]
		if c.Void == "" {
			valid++
			v.place(r, extra, c, r.Lines[i])
			v.capture(r, c, r.Lines[i])
		}
	}
	if valid == 0 {
		v.warn(r.File, 0, "no capture of this run counts")
	}
	v.order(r)
}

// splitWarning takes the place off the front of a reader's warning.
func splitWarning(w, file string) (line int, text string) {
	rest, ok := strings.CutPrefix(w, file+":")
	number, text, cut := strings.Cut(rest, ": ")
	if !ok || !cut {
		return 0, w
	}
	for _, d := range number {
		if d < '0' || d > '9' || line > math.MaxInt32 {
			return 0, w
		}
		line = 10*line + int(d-'0')
	}
	return line, text
}

func (v *verifier) runHeader(r *logbook.Run) {
	h := &r.Header
	if h.Axes == nil {
		v.warn(r.File, 1, "the run knows no axes, so its vectors are not in the craft frame: state the probe's axes in the craft file")
	} else if !h.Axes.Finite() || math.Abs(h.Axes.Det()) < 1e-6 {
		v.error(r.File, 1, "the run's axes are no mapping of space")
	}
	if h.Correction != nil && math.Abs(h.Correction.Matrix.Det()) < 1e-9 {
		v.error(r.File, 1, "the run's calibration matrix cannot be undone")
	}
	if h.Calibration != "" {
		if _, err := logbook.LoadCorrection(v.dir, h.Calibration); err != nil {
			v.warn(r.File, 1, "its calibration cannot be read again (what it does is kept in the run): %v", err)
		}
	}
	if v.craft == nil {
		return
	}
	if err := v.craft.State(h.State); err != nil {
		v.error(r.File, 1, "%v", err)
	}
	if h.CraftSHA256 != "" && h.CraftSHA256 != v.craft.SHA256 {
		v.warn(r.File, 1, "the craft file was another when this run was made; what has changed since is not known, places are compared below")
	}
	load, ok := v.craft.LoadByName(h.State)
	if !ok {
		return
	}
	if load.MaxCurrentA > 0 && h.HasCurrent && h.CurrentA > load.MaxCurrentA {
		v.warn(r.File, 1, "%g A is more than the %g A that the craft file allows %s", h.CurrentA, load.MaxCurrentA, load.Name)
	}
	if load.Kind == survey.LoadCurrent && !h.HasCurrent && !hasTelemetry(r) {
		v.warn(r.File, 1, "the current of %s is not known, so the run cannot be scaled to the maximum current", load.Name)
	}
}

func hasTelemetry(r *logbook.Run) bool {
	return slices.ContainsFunc(r.Captures, func(c logbook.Capture) bool {
		return slices.ContainsFunc(c.Samples, func(s survey.Sample) bool { return s.Has&survey.HasCurrent != 0 })
	})
}

func (v *verifier) capture(r *logbook.Run, c *logbook.Capture, line int) {
	if len(c.Samples) == 0 {
		v.error(r.File, line, "capture %d has no samples", c.Number)
		return
	}
	for i := 1; i < len(c.Samples); i++ {
		if c.Samples[i].TS < c.Samples[i-1].TS {
			v.error(r.File, line, "capture %d: the time runs backwards at sample %d", c.Number, i+1)
			break
		}
	}
	if v.craft != nil {
		v.saturated(r, c, line)
	}
	if r.Header.Pulsed {
		v.pulses(r, c, line)
	}
}

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
		v.warn(r.File, line, "capture %d: the craft file names no station %q; the place in the run counts", c.Number, c.Station)
	case !ok:
		v.error(r.File, line, "capture %d: the craft file names no station %q", c.Number, c.Station)
	case d > csvfile.PlaceSlackMM:
		v.warn(r.File, line, "capture %d: station %s lies %.0f mm from where the craft file has it now; the place in the run counts", c.Number, c.Station, d)
	}
}

// saturated warns of a capture that the evaluation leaves out because the
// probe was at its full scale.
func (v *verifier) saturated(r *logbook.Run, c *logbook.Capture, line int) {
	full := v.craft.Measures().RangeUT
	if at := c.FullScale(full); at.Unusable() {
		v.warn(r.File, line, "capture %d is left out of the evaluation: %d of %d samples are at the probe's full scale of %g uT", c.Number, at.AtLimit, at.Readings, full)
	}
}

// leastPulses is the fewest pulses from which the scatter between pulses is
// estimated.
const leastPulses = 4

func (v *verifier) pulses(r *logbook.Run, c *logbook.Capture, line int) {
	if v.craft != nil && v.craft.Base != nil && c.Station == v.craft.Base.Name {
		return
	}
	if n, known := pulsesOf(r, c); !known {
		v.error(r.File, line, "capture %d: nothing says when the load was on", c.Number)
	} else if n < leastPulses {
		v.warn(r.File, line, "capture %d has %d pulses; %d or more are needed for an honest uncertainty", c.Number, n, leastPulses)
	}
}

// pulsesOf counts how often the load came on: by labels, else by the current,
// else by the prompts, else by the run's rhythm. A label or a current that never
// changes tells nothing, as in the evaluation.
func pulsesOf(r *logbook.Run, c *logbook.Capture) (n int, known bool) {
	if n = rises(survey.LoadLevels(c.Samples)); n > 0 {
		return n, true
	}
	for _, p := range c.Prompts {
		if p.On {
			n++
		}
	}
	if len(c.Prompts) == 0 && r.Header.Rhythm != nil {
		return r.Header.Rhythm.Pulses, true
	}
	return n, len(c.Prompts) > 0
}

// rises counts the changes to on; a series that begins on has one there.
func rises(levels []dwell.Level) int {
	n, last := 0, dwell.Off
	for _, l := range levels {
		if l == dwell.On && last == dwell.Off {
			n++
		}
		if l != dwell.Unknown {
			last = l
		}
	}
	return n
}

// order looks at numbers and times over the whole run.
func (v *verifier) order(r *logbook.Run) {
	for i := 1; i < len(r.Captures); i++ {
		a, b := &r.Captures[i-1], &r.Captures[i]
		if b.Number < a.Number {
			v.warn(r.File, r.Lines[i], "capture %d follows capture %d", b.Number, a.Number)
		}
		if b.Time.Before(a.Time) {
			v.warn(r.File, r.Lines[i], "capture %d is earlier than capture %d before it: the clock was set, or the line is not where it belongs", b.Number, a.Number)
		}
	}
}
