package dwell

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Pulse is the on-minus-off vector of a capture. The lag is that of the whole
// run; this capture's own field is never searched for steps, so that a quiet
// station gives an answer near zero and no more than its share of noise.
//
// Each interval gives a robust mean; each inner one is compared with its two
// neighbours, interpolated to its own time, which takes out any linear drift;
// Diff is the mean of these. Its covariance is the larger of what the
// autocorrelated noise within the intervals and what the scatter between them
// lead one to expect (see larger).
//
// Errors: those of Locate, ErrNoTiming, *FewPulsesError.
func Pulse(c PulsedSeries, lag Lag, o PulseOptions) (PulseEstimate, error) {
	if err := c.check(); err != nil {
		return PulseEstimate{}, err
	}
	o = o.withDefaults()
	if at, _, systematic := held(c.B); systematic {
		c = c.pickPulsed(at)
	}
	edges, labelled := c.edges(lag, o)
	if len(edges) == 0 {
		return PulseEstimate{}, ErrNoTiming
	}
	guard := 2 * lag.SDS
	if labelled {
		guard = 0
	}
	spans := c.spans(edges, o.DropS, guard)
	levels := measure(c, spans, o)
	est, err := levels.combine(o)
	if err != nil {
		return PulseEstimate{}, err
	}
	est.setCurrent(c, spans)
	est.remark(levels)
	if !labelled && lag.Source == FromAssumed {
		est.Warnings = append(est.Warnings, "no station of the run shows a step: the operator's lag is assumed")
	}
	return est, nil
}

// levels are the intervals of a capture with their robust means and what is
// left of the samples about them.
type levels struct {
	spans   []span
	ts      []float64 // middle of each interval
	mean    []r3.Vec
	rest    [][3][]float64 // influence of each sample on its mean
	times   [][]float64    // of those samples, about the middle
	scale   [2][3]float64  // robust deviation of a sample, off and on
	asleep  [3]float64     // variance of rounding where noise does not help
	spikes  int
	samples int
}

// measure takes the means of the intervals. Off and on have scales of their
// own: a spinning magnet makes on much the wider.
func measure(c PulsedSeries, spans []span, o PulseOptions) levels {
	cols := columns(c.B)
	step := steps(cols, o.Options)
	out := levels{spans: spans}
	var pool [2][3][]float64
	for _, s := range spans {
		l := level(s.on)
		for k := range 3 {
			m := median(cols[k][s.from:s.to])
			for _, v := range cols[k][s.from:s.to] {
				pool[l][k] = append(pool[l][k], v-m)
			}
		}
	}
	for l := range 2 {
		for k := range 3 {
			if len(pool[l][k]) == 0 {
				continue
			}
			out.scale[l][k] = max(madSD(pool[l][k], 0), step[k]/2, o.FloorUT/2, 1e-12)
		}
	}
	awake := [3]bool{}
	for _, s := range spans {
		out.interval(c, cols, s, o, step, &awake)
	}
	for k := range 3 {
		if !awake[k] {
			out.asleep[k] = step[k] * step[k] / 12
		}
	}
	return out
}

func level(on bool) int {
	if on {
		return 1
	}
	return 0
}

// interval adds one interval.
func (l *levels) interval(c PulsedSeries, cols [3][]float64, s span, o PulseOptions, step [3]float64, awake *[3]bool) {
	var part [3][]float64
	var centre, mean [3]float64
	for k := range 3 {
		part[k] = cols[k][s.from:s.to]
		centre[k] = median(part[k])
	}
	scale := l.scale[level(s.on)]
	mask, spikes := findSpikes(part, centre, scale, o.SpikeSigmas)
	l.spikes += spikes
	l.samples += s.to - s.from - spikes
	var rest [3][]float64
	for k := range 3 {
		x := without(part[k], mask)
		awake[k] = awake[k] || spread(x) >= 1.5*step[k]
		var u []float64
		mean[k], u = biweight(x, scale[k])
		rest[k] = bridge(u, mask)
	}
	mid, _ := Moments(c.TS[s.from:s.to])
	times := make([]float64, s.to-s.from)
	for i := range times {
		times[i] = c.TS[s.from+i] - mid
	}
	l.ts, l.mean = append(l.ts, mid), append(l.mean, vec(mean))
	l.rest, l.times = append(l.rest, rest), append(l.times, times)
}

// combine weighs the intervals into the estimate.
func (l levels) combine(o PulseOptions) (PulseEstimate, error) {
	est := PulseEstimate{Samples: l.samples, Spikes: l.spikes, RiseP: 1}
	est.SpreadOff, est.SpreadOn = vec(l.scale[0]), vec(l.scale[1])
	for i, s := range l.spans {
		if s.on && i > 0 && !l.spans[i-1].on {
			est.Pulses++
		}
	}
	rows := l.triples()
	if est.Pulses < o.MinPulses || len(rows) < 2 {
		return est, &FewPulsesError{est.Pulses, o.MinPulses}
	}
	for _, row := range rows {
		var d r3.Vec
		for i, w := range row {
			d = r3.Add(d, r3.Scale(w, l.mean[i]))
		}
		est.PerPulse = append(est.PerPulse, d)
		est.Diff = r3.Add(est.Diff, r3.Scale(1/float64(len(rows)), d))
	}
	noise := l.noise()
	weights := columnMeans(rows)
	est.Within = l.within(weights, noise, o)
	est.WithinDF = noise.df
	est.Between, est.BetweenDF = scatter(rows, weights, est.PerPulse)
	est.scattered = est.settle(est.Between, est.BetweenDF) > 0.9
	est.setRise(l, noise)
	return est, nil
}

// triples are the weights by which each inner interval is compared with its
// neighbours: on less off, the neighbours interpolated to its own time.
func (l levels) triples() [][]float64 {
	var rows [][]float64
	for i := 1; i+1 < len(l.spans); i++ {
		before, here, after := l.spans[i-1], l.spans[i], l.spans[i+1]
		if before.on == here.on || after.on == here.on || l.ts[i+1] <= l.ts[i-1] {
			continue
		}
		sign := 1.0
		if !here.on {
			sign = -1
		}
		f := (l.ts[i] - l.ts[i-1]) / (l.ts[i+1] - l.ts[i-1])
		row := make([]float64, len(l.spans))
		row[i-1], row[i], row[i+1] = -sign*(1-f), sign, -sign*f
		rows = append(rows, row)
	}
	return rows
}

func columnMeans(rows [][]float64) []float64 {
	out := make([]float64, len(rows[0]))
	for _, row := range rows {
		for i, w := range row {
			out[i] += w / float64(len(rows))
		}
	}
	return out
}

// scatter is the covariance of the mean comparison from the scatter of the
// comparisons, as if the interval means had independent noise, and its
// degrees of freedom: neighbouring comparisons share intervals.
//
// Source: Satterthwaite 1946, Biometrics Bulletin 2, 110, for the degrees of
// freedom of a quadratic form, (tr Q)^2 / tr(Q^2).
func scatter(rows [][]float64, weights []float64, per []r3.Vec) (magmath.Mat3, float64) {
	n := len(weights)
	var mean r3.Vec
	for _, d := range per {
		mean = r3.Add(mean, r3.Scale(1/float64(len(per)), d))
	}
	var out magmath.Mat3
	q := make([]float64, n*n)
	for r, row := range rows {
		e := r3.Sub(per[r], mean)
		out = out.Add(magmath.Outer(e, e))
		for i := range n {
			for j := range n {
				q[i*n+j] += (row[i] - weights[i]) * (row[j] - weights[j])
			}
		}
	}
	trace, square, sum := 0.0, 0.0, 0.0
	for i := range n {
		trace += q[i*n+i]
		sum += weights[i] * weights[i]
		for j := range n {
			square += q[i*n+j] * q[j*n+i]
		}
	}
	return out.Scale(sum / trace), trace * trace / square
}

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
