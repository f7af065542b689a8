package dwell

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Estimate is the field of one dwell, in the frame of its samples.
type Estimate struct {
	Mean     r3.Vec       // robust location, microtesla
	Cov      magmath.Mat3 // of Mean, type A with the floor of quantisation, uT^2; never zero
	DF       float64      // degrees of freedom of Cov: intervals use Student's t
	SpreadUT r3.Vec       // robust standard deviation of one sample on each axis

	N                int     // samples given
	Distinct         int     // readings that counted: N, or the changed vectors of a held stream
	Effective        float64 // independent samples that would give the same Cov, 1..Distinct
	Spikes           int     // samples left out
	RepeatedFraction float64 // of the samples, equal to the one before
	Held             bool    // the repeats are systematic and each reading counted once

	Drift  r3.Vec  // slope of a straight line, uT/s
	DriftP float64 // probability of such a slope by chance
}

// spikeSigmas is the number of robust deviations off at which a sample is a
// spike. Common practice, no source.
const spikeSigmas = 4.5

// Locate returns the robust location of a dwell with its covariance. Samples
// far from the rest on any axis are left out on all; the others go through
// Tukey's biweight, an axis at a time. The covariance comes from the influence
// of each sample with its autocorrelation, and is never less than the
// quantisation step and the probe's floor allow.
//
// A single sample gives an answer with an assumed covariance and DF 1.
// Errors: ErrNoSamples, ErrLengths, *SampleError; that of ctx once it is
// done, which ends the work on a long capture within a second.
//
// Source: influence functions of M-estimators, Huber 1981, Robust Statistics,
// ch. 6; their long-run covariance under autocorrelation, Croux, Dhaene,
// Hoorelbeke 2003, Robust standard errors for robust estimators (both from
// memory).
func Locate(ctx context.Context, s Series, o Options) (Estimate, error) {
	if err := s.Check(); err != nil {
		return Estimate{}, err
	}
	o = o.valid()
	est := Estimate{N: len(s.B), DriftP: 1}
	var changed []int
	changed, est.RepeatedFraction, est.Held = held(s.B)
	if est.Held {
		s = s.pick(changed)
	}
	est.Distinct = len(s.B)
	axes := columns(s.B)
	order := sortedAxes(axes)
	step := steps(order, o)
	if len(s.B) == 1 {
		return est.single(s.B[0], step, o), nil
	}
	var centre, scale [3]float64
	for k := range 3 {
		if ctx.Err() != nil {
			return Estimate{}, ctx.Err()
		}
		centre[k] = order[k].median()
		// Never under half a step: a reading that flips between two neighbours is no spike.
		scale[k] = max(order[k].madSD(centre[k]), step[k]/2, o.FloorUT/2, 1e-12)
	}
	mask, spikes := findSpikes(axes, centre, scale)
	est.Spikes = spikes
	est.SpreadUT = vec(scale)

	var influence [3][]float64
	var mean, asleep [3]float64
	for k := range 3 {
		if ctx.Err() != nil {
			return Estimate{}, ctx.Err()
		}
		x := without(axes[k], mask)
		if spread(x) < 1.5*step[k] {
			asleep[k] = step[k] * step[k] / 12
		}
		if spikes > 0 {
			centre[k] = median(x)
		}
		var u []float64
		mean[k], u = biweight(x, centre[k], scale[k])
		influence[k] = bridge(u, mask)
	}
	est.Mean = vec(mean)
	est.setCov(ctx, influence, step, asleep, o)
	est.setDrift(ctx, s.TS, influence)
	if ctx.Err() != nil {
		return Estimate{}, ctx.Err()
	}
	return est, nil
}

// single returns the estimate from one sample.
func (e Estimate) single(b r3.Vec, step [3]float64, o Options) Estimate {
	noise := o.FloorUT
	if noise == 0 {
		noise = fallbackNoiseUT
	}
	e.Mean, e.DF, e.Effective = b, 1, 1
	e.SpreadUT = r3.Vec{X: noise, Y: noise, Z: noise}
	for k := range 3 {
		e.Cov[k][k] = noise*noise + step[k]*step[k]/12
	}
	return e
}

// findSpikes marks the samples more than spikeSigmas off on any axis. Few
// samples give a poor scale, so that the limit is wider for them. It never
// marks more than half.
func findSpikes(axes [3][]float64, centre, scale [3]float64) (mask []bool, count int) {
	n := len(axes[0])
	limit := spikeSigmas * (1 + 10/float64(n))
	mask = make([]bool, n)
	for i := range n {
		for k := range 3 {
			if math.Abs(axes[k][i]-centre[k]) > limit*scale[k] {
				mask[i] = true
			}
		}
		if mask[i] {
			count++
		}
	}
	if 2*count > n {
		return make([]bool, n), 0
	}
	return mask, count
}

// without returns x less the marked samples.
func without(x []float64, mask []bool) []float64 {
	out := make([]float64, 0, len(x))
	for i, v := range x {
		if !mask[i] {
			out = append(out, v)
		}
	}
	return out
}

// bridge returns u, the values of the samples that are not marked, with the
// marked ones put back as straight lines between their neighbours, so that
// leaving a spike out does not cut the autocorrelation.
func bridge(u []float64, mask []bool) []float64 {
	if len(u) == len(mask) {
		return u
	}
	out := make([]float64, len(mask))
	next := 0
	for i, bad := range mask {
		if !bad {
			out[i] = u[next]
			next++
		}
	}
	for i := 0; i < len(mask); i++ {
		if !mask[i] {
			continue
		}
		end := i
		for end < len(mask) && mask[end] {
			end++
		}
		fillGap(out, i, end)
		i = end
	}
	return out
}

// fillGap sets x[from:to] to a straight line between the values on either side,
// or to the only one of them.
func fillGap(x []float64, from, to int) {
	left, right := 0.0, 0.0
	switch {
	case from > 0 && to < len(x):
		left, right = x[from-1], x[to]
	case from > 0:
		left, right = x[from-1], x[from-1]
	case to < len(x):
		left, right = x[to], x[to]
	}
	for i := from; i < to; i++ {
		f := float64(i-from+1) / float64(to-from+1)
		x[i] = left + f*(right-left)
	}
}

// setCov sets Cov, DF and Effective from the influences u, which it centres.
// Readings of one or two neighbouring values say too little of the noise to
// trust its help against rounding: asleep is the whole variance of rounding on
// those axes.
//
// Source of the quantisation term: the mean of a rounded Gaussian is off by
// at most (step/pi) exp(-2 pi^2 (sd/step)^2) to first order, Widrow and
// Kollar 2008, Quantization Noise, ch. 4 (from memory); scaled so that it is
// step^2/12 without noise (GUM, JCGM 100:2008, F.2.2.1).
func (e *Estimate) setCov(ctx context.Context, u [3][]float64, step, asleep [3]float64, o Options) {
	n := float64(len(u[0]) - e.Spikes)
	for k := range 3 {
		m, _ := moments(u[k])
		for i := range u[k] {
			u[k][i] -= m
		}
	}
	lr := estimateLongRun(ctx, u)
	e.Cov, e.DF = lr.omega.Scale(1/n), lr.df
	independent := 1.0 // per sample
	if trace := lr.omega.Trace(); trace > 0 {
		independent = lr.gamma.Trace() / trace
	}
	e.Effective = min(max(n*independent, 1), n)
	for k := range 3 {
		q := step[k] * step[k] / 12
		noise := max(lr.gamma[k][k]-q, 0) / (step[k] * step[k])
		rounding := max(q*math.Exp(-4*math.Pi*math.Pi*noise), asleep[k])
		least := o.FloorUT * o.FloorUT / e.Effective
		e.Cov[k][k] = max(e.Cov[k][k], least) + rounding
	}
}

// setDrift fits a straight line to each axis by least squares and tests its
// slope against the long-run noise about it, the three axes together by
// Bonferroni's inequality.
func (e *Estimate) setDrift(ctx context.Context, ts []float64, u [3][]float64) {
	mt, sd := moments(ts)
	n := len(ts)
	if n < 8 || sd == 0 {
		return
	}
	stt := sd * sd * float64(n-1)
	var slope [3]float64
	var rest [3][]float64
	for k := range 3 {
		for i, t := range ts {
			slope[k] += (t - mt) * u[k][i] / stt
		}
		rest[k] = make([]float64, n)
		for i, t := range ts {
			rest[k][i] = u[k][i] - slope[k]*(t-mt)
		}
	}
	lr := estimateLongRun(ctx, rest)
	e.Drift = vec(slope)
	for k := range 3 {
		e.DriftP = min(e.DriftP, 3*twoSided(slope[k], lr.omega[k][k]/stt, lr.df))
	}
}

// twoSided returns the probability of a value as far from zero as v, given its
// variance with df degrees of freedom; 1 without a variance.
func twoSided(v, variance, df float64) float64 {
	if !(variance > 0) {
		return 1
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	return min(1, 2*t.CDF(-math.Abs(v)/math.Sqrt(variance)))
}
