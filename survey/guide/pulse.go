package guide

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
)

// judgePulsed counts the pulses and tests whether the probe stayed in place; the
// load's own steps do not count as a move.
func (w *Walk) judgePulsed() verdict {
	d := &w.dwell
	on, off := w.stretches()
	n := min(len(on), len(off)-1)
	labelled, count := labelledPulses(survey.LoadLevels(d.samples))
	if labelled {
		n = min(n, count)
	}
	if n < w.rules.MinPulses {
		return refuse(remark.New("guide.pulses", remark.Values{"pulses": max(n, 0), "needed": w.rules.MinPulses, "labelled": labelled}))
	}
	difference := r3.Sub(medianLevel(on), medianLevel(off))
	if v := w.wandered(off, r3.Norm(difference)); v.refused() {
		return v
	}
	v := w.locate(w.offSamples())
	if !v.refused() {
		v.difference = &difference
		v.remarks = append(v.remarks, w.current(d.samples)...)
	}
	return v
}

// firstOff judges the dwell so far as if it were not pulsed, before the load
// is switched on for the first time: only the probe, the craft or the room can
// have changed the field, and an early refusal saves a long dwell.
func (w *Walk) firstOff(edges int) verdict {
	if edges > 0 {
		return verdict{}
	}
	so := dwellState{start: w.dwell.start}
	levels := survey.LoadLevels(w.dwell.samples)
	for i, s := range w.dwell.samples {
		if levels[i] != dwell.On {
			so.samples, so.b = append(so.samples, s), append(so.b, w.dwell.b[i])
		}
	}
	return w.changed(&so)
}

// isOn returns the load's state at a time: that of the sample's own label, else
// as prompted. settled reports whether the last prompt is long enough ago.
func (w *Walk) isOn(ts float64, said dwell.Level) (on, settled bool) {
	d := &w.dwell
	at := len(d.prompts) - 1
	for at > 0 && d.prompts[at].TS > ts {
		at--
	}
	settled = at == 0 || ts-d.prompts[at].TS >= w.cfg.Rhythm.DropS
	if said != dwell.Unknown {
		return said == dwell.On, settled
	}
	return d.prompts[at].On, settled
}

// current remarks on a current that differs from the one stated for this run by
// more than a quarter.
func (w *Walk) current(samples []survey.Sample) []Event {
	levels := survey.LoadLevels(samples)
	var on []float64
	for i, s := range samples {
		if s.Has&survey.HasCurrent != 0 && levels[i] == dwell.On {
			on = append(on, math.Abs(s.CurrentA))
		}
	}
	got := median(on)
	if w.cfg.CurrentA <= 0 || got == 0 || math.Abs(got-w.cfg.CurrentA) < 0.25*w.cfg.CurrentA {
		return nil
	}
	return []Event{warn(remark.New("guide.current", remark.Values{"measured_a": got, "stated_a": w.cfg.CurrentA}))}
}

// stretch is the part of the time between two prompts that is compared with
// others, after the load has settled.
type stretch struct {
	level
	readings []r3.Vec
}

// stretches returns the second halves of the times between prompts, so that a
// slow operator has no effect, and all of the time before the first prompt. It
// leaves out readings whose own label contradicts the prompt.
func (w *Walk) stretches() (on, off []stretch) {
	d := &w.dwell
	levels := survey.LoadLevels(d.samples)
	for i, p := range d.prompts {
		end := math.Inf(1)
		if i+1 < len(d.prompts) {
			end = d.prompts[i+1].TS
		} else if n := len(d.samples); n > 0 {
			end = d.samples[n-1].TS
		}
		from := (p.TS + end) / 2
		if i == 0 {
			from = p.TS
		}
		var b []r3.Vec
		var part []survey.Sample
		for k, s := range d.samples {
			agrees := levels[k] == dwell.Unknown || (levels[k] == dwell.On) == p.On
			if s.TS >= from && s.TS <= end && agrees {
				b, part = append(b, d.b[k]), append(part, s)
			}
		}
		if len(b) < 2 {
			continue
		}
		l := stretch{level{medianVec(b), medianAcc(part)}, b}
		if p.On {
			on = append(on, l)
		} else {
			off = append(off, l)
		}
	}
	return on, off
}

// labelledPulses returns the number of complete pulses by the readings' own
// labels; labelled is false if they have none.
func labelledPulses(levels []dwell.Level) (labelled bool, count int) {
	was := dwell.Unknown
	for _, l := range levels {
		if l == dwell.Unknown {
			continue
		}
		labelled = true
		if was == dwell.On && l == dwell.Off {
			count++
		}
		was = l
	}
	return labelled, count
}

func medianLevel(parts []stretch) r3.Vec {
	v := make([]r3.Vec, len(parts))
	for i := range parts {
		v[i] = parts[i].level.b
	}
	return medianVec(v)
}

// wandered refuses a pulsed dwell in which the probe was moved while the load
// was off: the level shifted permanently, the first level differs from all later
// ones, one of them was not steady, or the accelerometer turned. A rotor that
// stops at another angle each time scatters the level; rotorShare of the step is
// allowed.
func (w *Walk) wandered(off []stretch, stepUT float64) verdict {
	noise := successiveNoise(w.dwell.b)
	allowed := w.rules.PulseMoveUT + rotorShare*stepUT + 2*noise
	half := len(off) / 2
	early, late := off[:half], off[len(off)-half:]
	for _, pair := range [2][2][]stretch{{early, late}, {off[:1], off[1:]}} {
		if by := r3.Norm(r3.Sub(medianLevel(pair[0]), medianLevel(pair[1]))); by > allowed {
			return refuse(remark.New("guide.moved:wandered", remark.Values{"by_ut": by}))
		}
	}
	for _, s := range off {
		if by := excursion(s.readings); by > w.rules.ChangeUT+rotorShare*stepUT+4*noise {
			return refuse(remark.New("guide.moved:touched", remark.Values{"by_ut": by}))
		}
	}
	if deg := angleDeg(off[0].acc, off[len(off)-1].acc); deg > w.rules.PulseMoveDeg {
		return refuse(remark.New("guide.moved:tipped", remark.Values{"by_deg": deg}))
	}
	return verdict{}
}

// rotorShare is the part of the load's step that a stopped rotor may leave.
const rotorShare = 0.25

// excursion returns the largest departure of the field from its level within a
// stretch, by the medians of five readings in a row, so that a spike does not
// count.
func excursion(b []r3.Vec) float64 {
	const few = 5
	most, mid := 0.0, medianVec(b)
	for i := 0; i+few <= len(b); i += few {
		most = max(most, r3.Norm(r3.Sub(medianVec(b[i:i+few]), mid)))
	}
	return most
}

// offSamples returns the readings with the load off.
func (w *Walk) offSamples() (ts []float64, b []r3.Vec) {
	levels := survey.LoadLevels(w.dwell.samples)
	for i, s := range w.dwell.samples {
		if on, settled := w.isOn(s.TS, levels[i]); !on && settled {
			ts, b = append(ts, s.TS), append(b, w.dwell.b[i])
		}
	}
	return ts, b
}
