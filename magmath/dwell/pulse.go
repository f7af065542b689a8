package dwell

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// PulseEstimate is the field of the load alone at one station.
type PulseEstimate struct {
	Diff     r3.Vec       // on minus off, microtesla
	Cov      magmath.Mat3 // of Diff, uT^2
	DF       float64      // degrees of freedom of Cov: intervals use Student's t
	PerPulse []r3.Vec     // each inner interval against its neighbours, on minus off, uT
	Pulses   int          // on intervals used
	Samples  int          // samples used
	Spikes   int          // samples left out
	Rise     r3.Vec       // change of Diff over an on-time, uT (warming)
	RiseP    float64      // probability of such a change by chance

	HasCurrent   bool
	OnCurrentA   float64 // mean current while on
	OnCurrentSDA float64 // its standard deviation from pulse to pulse
	OffCurrentA  float64 // mean current while off
	Warnings     []remark.Remark

	within    magmath.Mat3 // covariance of Diff from the noise within the pulses
	withinDF  float64      // its degrees of freedom
	between   magmath.Mat3 // covariance of Diff from the scatter between the pulses
	betweenDF float64      // its degrees of freedom, on each axis
	scattered bool         // between is far over within
}

// Pulse returns the on-minus-off vector of a capture. The lag is that of the
// whole run, from Timing; Pulse never searches this capture's own field for
// steps, so that a quiet station gives an answer near zero and no more than its
// share of noise.
//
// Each interval gives a robust mean. Each inner one is compared with its two
// neighbours, interpolated to its own time, which cancels a linear drift; Diff is
// the mean of these comparisons. Its covariance is the larger of two: from the
// autocorrelated noise within the intervals, and from the scatter between them. With
// labels one pulse is enough, even one that nothing off follows; of so few pulses
// the scatter between them is not known, and the noise within them counts alone
// until Moderate adds what other captures of the run say.
//
// Errors: those of Locate, ErrNoTiming, *FewPulsesError.
func Pulse(ctx context.Context, c PulsedSeries, lag Lag, o PulseOptions) (PulseEstimate, error) {
	o = o.valid()
	c, cut, err := c.cut(lag, o)
	if err != nil {
		return PulseEstimate{}, err
	}
	levels := measure(ctx, c, cut.spans, o)
	if ctx.Err() != nil {
		return PulseEstimate{}, ctx.Err()
	}
	noise := levels.noise()
	est := levels.combine(noise, cut, o)
	est.setCurrent(c.CurrentA, levels.spans)
	est.warn(levels, noise)
	if !cut.labelled && lag.Source == FromAssumed {
		est.Warnings = append(est.Warnings, remark.New("dwell.assumed"))
	}
	return est, nil
}

// Usable returns nil if Pulse can use a capture, else the error that it would
// return, without its work.
func Usable(c PulsedSeries, lag Lag, o PulseOptions) error {
	_, _, err := c.cut(lag, o.valid())
	return err
}

// cutting is a capture cut at its edges.
type cutting struct {
	spans    []span
	rows     []comparison
	pulses   int  // on intervals after an off one
	labelled bool // by labels or current, not by the lag
}

// cut cuts a capture at its edges. It returns the readings that count, and the
// errors of Pulse.
func (c PulsedSeries) cut(lag Lag, o PulseOptions) (PulsedSeries, cutting, error) {
	if err := c.Check(); err != nil {
		return c, cutting{}, err
	}
	c = c.thinned()
	var edges []Edge
	guard := 0.0
	labels := c.labels()
	if labels != nil { // exact to a sample
		edges = labelEdges(c.TS, labels)
	} else {
		edges = shift(c.nominal(lag, o), lag.MeanS)
		guard = 2 * lag.SDS
	}
	if len(edges) == 0 {
		return c, cutting{}, ErrNoTiming
	}
	out := cutting{spans: c.spans(edges, o.DropS, guard, labels != nil), labelled: labels != nil}
	middle := make([]float64, len(out.spans))
	for i, s := range out.spans {
		middle[i], _ = moments(c.TS[s.from:s.to])
		if s.on && i > 0 && !out.spans[i-1].on {
			out.pulses++
		}
	}
	out.rows = comparisons(out.spans, middle)
	need := fewestPulses
	if out.labelled && (out.pulses >= fewestPulses || out.shortest() >= fewestReadings) {
		need = fewestLabelled
	}
	if out.pulses < need || len(out.rows) == 0 {
		return c, out, &FewPulsesError{out.pulses, need}
	}
	return c, out, nil
}

// shortest returns the readings of the shortest interval.
func (c cutting) shortest() int {
	least := math.MaxInt
	for _, s := range c.spans {
		least = min(least, s.to-s.from)
	}
	return least
}

// combine weighs the intervals into the estimate.
func (l levels) combine(noise pulseNoise, cut cutting, o PulseOptions) PulseEstimate {
	est := PulseEstimate{Samples: l.samples, Spikes: l.spikes, RiseP: 1, Pulses: cut.pulses}
	for _, row := range cut.rows {
		var d r3.Vec
		for i, w := range row.w[:min(3, len(l.mean)-row.first)] {
			d = r3.Add(d, r3.Scale(w, l.mean[row.first+i]))
		}
		est.PerPulse = append(est.PerPulse, d)
		est.Diff = r3.Add(est.Diff, r3.Scale(1/float64(len(cut.rows)), d))
	}
	weights := meanWeights(cut.rows, len(l.spans))
	est.within, est.withinDF = l.within(weights, noise, o), noise.df
	if len(cut.rows) < fewestRows {
		est.Cov, est.DF = est.within, est.withinDF
	} else {
		est.between, est.betweenDF = scatter(cut.rows, weights, est.PerPulse)
		est.scattered = est.setCov(est.between, est.betweenDF) > 0.9
	}
	est.setRise(l, noise)
	return est
}

// comparison is an inner interval against its two neighbours, interpolated to
// its own time: on less off. In a capture of two intervals it is the second less
// the first, with no weight on a third.
type comparison struct {
	first int        // interval before
	w     [3]float64 // weights of that interval and the two after it
}

// comparisons returns those of the inner intervals of which both neighbours are
// at the other level; ts are the middles of the intervals.
func comparisons(spans []span, ts []float64) []comparison {
	var out []comparison
	if len(spans) == 2 && spans[0].on != spans[1].on {
		sign := 1.0
		if spans[0].on {
			sign = -1
		}
		return []comparison{{0, [3]float64{-sign, sign, 0}}}
	}
	for i := 1; i+1 < len(spans); i++ {
		before, here, after := spans[i-1], spans[i], spans[i+1]
		if before.on == here.on || after.on == here.on || ts[i+1] <= ts[i-1] {
			continue
		}
		sign := 1.0
		if !here.on {
			sign = -1
		}
		f := (ts[i] - ts[i-1]) / (ts[i+1] - ts[i-1])
		out = append(out, comparison{i - 1, [3]float64{-sign * (1 - f), sign, -sign * f}})
	}
	return out
}

// meanWeights returns the weight of each of n intervals in the mean comparison.
func meanWeights(rows []comparison, n int) []float64 {
	out := make([]float64, n)
	for _, row := range rows {
		for i, w := range row.w[:min(3, n-row.first)] {
			out[row.first+i] += w / float64(len(rows))
		}
	}
	return out
}

// scatter returns the covariance of the mean comparison from the scatter of
// the comparisons, as if the interval means had independent noise, and its
// degrees of freedom: neighbouring comparisons share intervals.
//
// With R the rows of weights, m rows, and w their mean, the quadratic form is
// Q = R'R - m w w'. Its traces need no matrix of all intervals: tr Q = |R|^2 -
// m |w|^2 and tr Q^2 = |R R'|^2 - 2 m |R w|^2 + m^2 |w|^4, in which only rows
// that share intervals count.
//
// Source: Satterthwaite 1946, Biometrics Bulletin 2, 110, for the degrees of
// freedom of a quadratic form, (tr Q)^2 / tr(Q^2).
func scatter(rows []comparison, weights []float64, per []r3.Vec) (magmath.Mat3, float64) {
	m := float64(len(rows))
	var mean r3.Vec
	for _, d := range per {
		mean = r3.Add(mean, r3.Scale(1/m, d))
	}
	sum := 0.0
	for _, w := range weights {
		sum += w * w
	}
	var out magmath.Mat3
	trace, square := -m*sum, m*m*sum*sum
	for r, row := range rows {
		e := r3.Sub(per[r], mean)
		out = out.Add(magmath.Outer(e, e))
		along := 0.0 // of the row with the mean weights
		for i, w := range row.w {
			trace += w * w
			along += w * weights[row.first+i]
		}
		square -= 2 * m * along * along
		for s := r; s < len(rows) && rows[s].first <= row.first+2; s++ {
			shared := 0.0
			for i := rows[s].first; i <= row.first+2; i++ {
				shared += row.w[i-row.first] * rows[s].w[i-rows[s].first]
			}
			if square += shared * shared; s > r {
				square += shared * shared
			}
		}
	}
	return out.Scale(sum / trace), trace * trace / square
}

// setRise sets Rise and RiseP from the slope of the samples within on intervals
// less that within off intervals.
func (e *PulseEstimate) setRise(l levels, noise pulseNoise) {
	var sxt, stt [2][3]float64
	longest := 0.0
	for i, s := range l.spans {
		on := side(s.on)
		for k := range 3 {
			for j, t := range l.times[i] {
				sxt[on][k] += t * l.rest[i][k][j]
				stt[on][k] += t * t
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

// setCurrent sets the currents from the samples in the spans.
func (e *PulseEstimate) setCurrent(currentA []float64, spans []span) {
	if currentA == nil {
		return
	}
	var on, off []float64
	for _, s := range spans {
		m, _ := moments(currentA[s.from:s.to])
		if s.on {
			on = append(on, m)
		} else {
			off = append(off, m)
		}
	}
	e.HasCurrent = true
	e.OnCurrentA, e.OnCurrentSDA = moments(on)
	e.OffCurrentA, _ = moments(off)
}

// warn sets the warnings. Limits: common practice, no source.
func (e *PulseEstimate) warn(l levels, noise pulseNoise) {
	say := func(r remark.Remark) { e.Warnings = append(e.Warnings, r) }
	if e.RiseP < 0.01 && r3.Norm(e.Rise) > 0.1*r3.Norm(e.Diff) {
		say(remark.New("dwell.rise", remark.Values{"by_ut": r3.Norm(e.Rise), "p_value": e.RiseP}))
	}
	if l.beats(noise) {
		say(remark.New("dwell.beats"))
	}
	if e.scattered {
		say(remark.New("dwell.scattered"))
	}
	if f := float64(e.Spikes) / float64(e.Samples+e.Spikes); f > 0.1 {
		say(remark.New("dwell.spikes", remark.Values{"fraction": f}))
	}
	on := 0.0
	for i, s := range l.spans {
		if s.on {
			on += float64(len(l.times[i]))
		}
	}
	if f := on / float64(e.Samples+e.Spikes); f < 0.25 || f > 0.75 {
		say(remark.New("dwell.uneven", remark.Values{"on_fraction": f}))
	}
}

// beats reports whether the samples scatter more while on, by the ratio of robust
// variances. The median deviation of n autocorrelated samples is as good as the
// variance of 0.37 (1 - phi^2)/(1 + phi^2) n independent ones.
//
// Source: asymptotic efficiency of the median absolute deviation, Huber 1981,
// Robust Statistics, sec. 5.6 (from memory).
func (l levels) beats(noise pulseNoise) bool {
	var count [2]float64
	for i, s := range l.spans {
		count[side(s.on)] += float64(len(l.times[i]))
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
