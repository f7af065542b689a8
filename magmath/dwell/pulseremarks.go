package dwell

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"
)

// setRise tests whether the field rises within the on-time, by the slope of
// the samples within on intervals less that within off intervals.
func (e *PulseEstimate) setRise(l levels, noise pulseNoise) {
	var sxt, stt [2][3]float64
	longest := 0.0
	for i, s := range l.spans {
		side := level(s.on)
		for k := range 3 {
			for j, t := range l.times[i] {
				sxt[side][k] += t * l.rest[i][k][j]
				stt[side][k] += t * t
			}
		}
		if n := len(l.times[i]); s.on {
			longest = max(longest, l.times[i][n-1]-l.times[i][0])
		}
	}
	var rise [3]float64
	for k := range 3 {
		if stt[0][k] == 0 || stt[1][k] == 0 {
			return
		}
		slope := sxt[1][k]/stt[1][k] - sxt[0][k]/stt[0][k]
		rise[k] = slope * longest
		memory := (1 + noise.phi[k]) / (1 - noise.phi[k])
		variance := memory * (noise.gamma[0][k][k]/stt[0][k] + noise.gamma[1][k][k]/stt[1][k])
		e.RiseP = min(e.RiseP, 3*twoSided(slope, variance, noise.df))
	}
	e.Rise = vec(rise)
}

// setCurrent takes the current from the samples used.
func (e *PulseEstimate) setCurrent(c PulsedSeries, spans []span) {
	if c.CurrentA == nil {
		return
	}
	var on, off []float64
	for _, s := range spans {
		m, _ := Moments(c.CurrentA[s.from:s.to])
		if s.on {
			on = append(on, m)
		} else {
			off = append(off, m)
		}
	}
	e.HasCurrent = true
	e.OnCurrentA, e.OnCurrentSDA = Moments(on)
	e.OffCurrentA, _ = Moments(off)
}

// remark writes the warnings. Limits: common practice, no source.
func (e *PulseEstimate) remark(l levels) {
	say := func(format string, a ...any) { e.Warnings = append(e.Warnings, fmt.Sprintf(format, a...)) }
	if e.RiseP < 0.01 && r3.Norm(e.Rise) > 0.1*r3.Norm(e.Diff) {
		say("the load's field changes by %.2g uT within the on-time: something warms up or spins up; make the pulses longer", r3.Norm(e.Rise))
	}
	if l.beats() {
		say("the field is less steady while on: a spinning magnet may beat with the sample rate; capture again at a slightly different speed")
	}
	if e.scattered {
		say("the pulses differ by more than the noise: a rotor that stops at another angle, an unsteady current, or the probe was touched")
	}
	if f := float64(e.Spikes) / float64(e.Samples+e.Spikes); f > 0.1 {
		say("%.0f %% of the samples lie far from the rest", 100*f)
	}
	on := 0.0
	for i, s := range l.spans {
		if s.on {
			on += float64(len(l.times[i]))
		}
	}
	if f := on / float64(e.Samples+e.Spikes); f < 0.25 || f > 0.75 {
		say("the load is on for %.0f %% of the time: on and off should take about the same", 100*f)
	}
}

// beats tests whether samples scatter more while on, by the ratio of robust
// variances. A median deviation of autocorrelated samples is worth 0.37 (1 -
// phi^2)/(1 + phi^2) as many independent ones as there are.
//
// Source: asymptotic efficiency of the median absolute deviation, Huber 1981,
// Robust Statistics, sec. 5.6 (from memory).
func (l levels) beats() bool {
	noise := l.noise()
	var count [2]float64
	for i, s := range l.spans {
		count[level(s.on)] += float64(len(l.times[i]))
	}
	for k := range 3 {
		q := noise.phi[k] * noise.phi[k]
		worth := 0.37 * (1 - q) / (1 + q)
		f := distuv.F{D1: max(worth*count[1], 1), D2: max(worth*count[0], 1)}
		r := l.scale[1][k] / l.scale[0][k]
		if r > 1.5 && f.Survival(r*r) < 0.0005 {
			return true
		}
	}
	return false
}
