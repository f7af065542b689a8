package guide

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// judgePulsed counts the pulses and sees whether the probe stayed where it
// was, without taking the load's own steps for a move.
func (w *Walk) judgePulsed() verdict {
	d := &w.dwell
	on, off := w.pulsePhases()
	n, how := min(len(on), len(off)-1), ""
	if labelled, count := labelledPulses(d.samples); labelled {
		n, how = min(n, count), " by the stream's own label"
	}
	if n < w.rules.MinPulses {
		return refuse(CodePulses, msgPulses(max(n, 0), w.rules.MinPulses, how))
	}
	difference := r3.Sub(medianLevel(on), medianLevel(off))
	if v := w.wandered(off, r3.Norm(difference)); v.refusal != "" {
		return v
	}
	v := w.locate(w.offSamples())
	if v.refusal == "" {
		v.difference = &difference
		v.remarks = append(v.remarks, w.current(d.samples)...)
	}
	return v
}

// isOn is the load's state at a sample, by its label or the current sent with
// it, else as prompted; settled says that no prompt was just given.
func (w *Walk) isOn(s survey.Sample, halfA float64) (on, settled bool) {
	d := &w.dwell
	at := len(d.prompts) - 1
	for at > 0 && d.prompts[at].TS > s.TS {
		at--
	}
	settled = at == 0 || s.TS-d.prompts[at].TS >= w.cfg.Rhythm.DropS
	if on, labelled := label(s, halfA); labelled {
		return on, settled
	}
	return d.prompts[at].On, settled
}

// label is what a sample itself says of the load: its label, else whether the
// current is over halfA. halfA 0 says that the current tells nothing.
func label(s survey.Sample, halfA float64) (on, labelled bool) {
	switch {
	case s.Has&survey.HasLoadOn != 0:
		return s.LoadOn, true
	case s.Has&survey.HasCurrent != 0 && halfA > 0:
		return math.Abs(s.CurrentA) > halfA, true
	}
	return false, false
}

// leastLabelA is the current under which telemetry is taken for idle noise.
const leastLabelA = 0.2

// halfCurrent is half the largest current sent with the samples; 0 where that
// tells nothing.
func halfCurrent(samples []survey.Sample) float64 {
	most := 0.0
	for _, s := range samples {
		if s.Has&survey.HasCurrent != 0 {
			most = max(most, math.Abs(s.CurrentA))
		}
	}
	if most < leastLabelA || math.IsInf(most, 0) {
		return 0
	}
	return most / 2
}

// current remarks on a current that is not the one stated for this run, by
// more than a quarter.
func (w *Walk) current(samples []survey.Sample) []Event {
	half := halfCurrent(samples)
	var on []float64
	for _, s := range samples {
		if s.Has&survey.HasCurrent != 0 && half > 0 && math.Abs(s.CurrentA) > half {
			on = append(on, math.Abs(s.CurrentA))
		}
	}
	got := median(on)
	if w.cfg.CurrentA <= 0 || got == 0 || math.Abs(got-w.cfg.CurrentA) < 0.25*w.cfg.CurrentA {
		return nil
	}
	return []Event{warn(CodeCurrent, msgCurrent(got, w.cfg.CurrentA))}
}

// pulsePhases are the levels of the stretches between prompts, from their
// last half, so that an operator who is slow at the switch does not show.
func (w *Walk) pulsePhases() (on, off []level) {
	d := &w.dwell
	for i, p := range d.prompts {
		end := math.Inf(1)
		if i+1 < len(d.prompts) {
			end = d.prompts[i+1].TS
		} else if n := len(d.samples); n > 0 {
			end = d.samples[n-1].TS
		}
		var b []r3.Vec
		var part []survey.Sample
		for k, s := range d.samples {
			if s.TS >= (p.TS+end)/2 && s.TS <= end {
				b, part = append(b, d.b[k]), append(part, s)
			}
		}
		if len(b) < 2 {
			continue
		}
		l := level{medianVec(b), medianAcc(part)}
		if p.On {
			on = append(on, l)
		} else {
			off = append(off, l)
		}
	}
	return on, off
}

// labelledPulses counts the complete pulses that the labels show.
func labelledPulses(samples []survey.Sample) (labelled bool, count int) {
	was, half := false, halfCurrent(samples)
	for _, s := range samples {
		on, ok := label(s, half)
		if !ok {
			continue
		}
		labelled = true
		if was && !on {
			count++
		}
		was = on
	}
	return labelled, count
}

func medianLevel(l []level) r3.Vec {
	v := make([]r3.Vec, len(l))
	for i := range l {
		v[i] = l[i].b
	}
	return medianVec(v)
}

// wandered refuses a pulsed dwell whose level with the load off shifted for
// good, or whose accelerometer did. A rotor that stops at another angle each
// time scatters the level; only the half of the step that it could explain
// and the shift between the first and the second half of the pulses count.
func (w *Walk) wandered(off []level, stepUT float64) verdict {
	half := len(off) / 2
	early, late := off[:half], off[len(off)-half:]
	by := r3.Norm(r3.Sub(medianLevel(late), medianLevel(early)))
	if by > w.rules.PulseMoveUT+0.25*stepUT+2*successiveNoise(w.dwell.b) {
		return refuse(CodeMoved, msgPulseMoved(by))
	}
	if deg := angleDeg(off[0].acc, off[len(off)-1].acc); deg > w.rules.PulseMoveDeg {
		return refuse(CodeMoved, msgPulseTipped(deg))
	}
	return verdict{}
}

// offSamples are the readings with the load off.
func (w *Walk) offSamples() (ts []float64, b []r3.Vec) {
	half := halfCurrent(w.dwell.samples)
	for i, s := range w.dwell.samples {
		if on, settled := w.isOn(s, half); !on && settled {
			ts, b = append(ts, s.TS), append(b, w.dwell.b[i])
		}
	}
	return ts, b
}
