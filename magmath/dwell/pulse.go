package dwell

import (
	"gonum.org/v1/gonum/spatial/r3"

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

// combine weighs the intervals into the estimate.
func (l levels) combine(o PulseOptions) (PulseEstimate, error) {
	est := PulseEstimate{Samples: l.samples, Spikes: l.spikes, RiseP: 1}
	est.SpreadOff, est.SpreadOn = vec(l.scale[0]), vec(l.scale[1])
	for i, s := range l.spans {
		if s.on && i > 0 && !l.spans[i-1].on {
			est.Pulses++
		}
	}
	rows := l.comparisons()
	if est.Pulses < o.MinPulses || len(rows) < 2 {
		return est, &FewPulsesError{est.Pulses, o.MinPulses}
	}
	for _, row := range rows {
		var d r3.Vec
		for i, w := range row.w {
			d = r3.Add(d, r3.Scale(w, l.mean[row.first+i]))
		}
		est.PerPulse = append(est.PerPulse, d)
		est.Diff = r3.Add(est.Diff, r3.Scale(1/float64(len(rows)), d))
	}
	noise := l.noise()
	weights := meanWeights(rows, len(l.spans))
	est.Within = l.within(weights, noise, o)
	est.WithinDF = noise.df
	est.Between, est.BetweenDF = scatter(rows, weights, est.PerPulse)
	est.scattered = est.settle(est.Between, est.BetweenDF) > 0.9
	est.setRise(l, noise)
	return est, nil
}

// comparison is an inner interval less its two neighbours, interpolated to its
// own time, with the sign that makes it on less off.
type comparison struct {
	first int        // interval before
	w     [3]float64 // weights of that interval and the two after it
}

// comparisons returns those of all inner intervals with neighbours at the
// other level.
func (l levels) comparisons() []comparison {
	var out []comparison
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
		out = append(out, comparison{i - 1, [3]float64{-sign * (1 - f), sign, -sign * f}})
	}
	return out
}

// meanWeights returns the weight of each of n intervals in the mean comparison.
func meanWeights(rows []comparison, n int) []float64 {
	out := make([]float64, n)
	for _, row := range rows {
		for i, w := range row.w {
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
