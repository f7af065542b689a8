package dwell

import (
	"context"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// span is the usable part of an interval at one level: samples [from, to).
type span struct {
	on       bool
	from, to int
}

// A label says to a sample when the load was on, so that in a short interval no
// more need be dropped than a motor or a servo takes to settle. Own judgement, no
// source.
const (
	shortS     = 2.5 // an interval of a labelled capture up to so long
	shortDropS = 0.2 // loses so much after its edge
)

// dropped returns the seconds that are dropped at the start of an interval of so
// many seconds.
func dropped(drop, seconds float64, labelled bool) float64 {
	if labelled && seconds <= shortS {
		return min(drop, shortDropS)
	}
	return drop
}

// spans cuts the capture at its edges. It drops some seconds after each edge and
// the guard on either side: twice the spread of the lag, but never more than a
// quarter of the interval. It leaves out an interval with under a quarter of the
// median number of samples.
func (c PulsedSeries) spans(edges []Edge, drop, guard float64, labelled bool) []span {
	var out []span
	var sizes []float64
	for i := 0; i <= len(edges); i++ {
		s := span{on: !edges[0].On, to: len(c.TS)}
		g := guard
		if i > 0 && i < len(edges) {
			g = min(guard, (edges[i].TS-edges[i-1].TS)/4)
		}
		if i > 0 {
			s.on = edges[i-1].On
			end := c.TS[len(c.TS)-1]
			if i < len(edges) {
				end = edges[i].TS
			}
			s.from = sort.SearchFloat64s(c.TS, edges[i-1].TS+dropped(drop, end-edges[i-1].TS, labelled)+g)
		}
		if i < len(edges) {
			s.to = sort.SearchFloat64s(c.TS, edges[i].TS-g)
		}
		if s.to-s.from >= 2 {
			out = append(out, s)
			sizes = append(sizes, float64(s.to-s.from))
		}
	}
	least := median(sizes) / 4
	return slices.DeleteFunc(out, func(s span) bool { return float64(s.to-s.from) < least })
}

// side returns the index of a level in arrays of two: 0 off, 1 on.
func side(on bool) int {
	if on {
		return 1
	}
	return 0
}

// levels are the intervals of a capture with their robust means and what is
// left of the samples about them.
type levels struct {
	spans   []span
	mean    []r3.Vec
	rest    [][3][]float64 // influence of each sample on its mean
	times   [][]float64    // of those samples, about the middle
	scale   [2][3]float64  // robust deviation of a sample, off and on
	asleep  [3]float64     // variance of rounding where noise does not help
	spikes  int
	samples int
}

// measure returns the levels of the intervals. Off and on have scales of their
// own: a spinning magnet makes on much the wider. Once ctx is done the levels
// are incomplete.
func measure(ctx context.Context, c PulsedSeries, spans []span, o PulseOptions) levels {
	axes := columns(c.B)
	step := steps(sortedAxes(axes), o.Options)
	out := levels{spans: spans}
	centres := make([][3]float64, len(spans))
	var pool [2][3][]float64
	for i, s := range spans {
		if ctx.Err() != nil {
			return out
		}
		l := side(s.on)
		for k := range 3 {
			m := median(axes[k][s.from:s.to])
			centres[i][k] = m
			for _, v := range axes[k][s.from:s.to] {
				pool[l][k] = append(pool[l][k], v-m)
			}
		}
	}
	for l := range 2 {
		for k := range 3 {
			if len(pool[l][k]) > 0 {
				out.scale[l][k] = max(madSD(pool[l][k], 0), step[k]/2, o.FloorUT/2, 1e-12)
			}
		}
	}
	var awake [3]bool
	for i, s := range spans {
		if ctx.Err() != nil {
			return out
		}
		part := [3][]float64{axes[0][s.from:s.to], axes[1][s.from:s.to], axes[2][s.from:s.to]}
		wide := out.add(c.TS[s.from:s.to], part, centres[i], s.on)
		for k := range 3 {
			awake[k] = awake[k] || wide[k] >= 1.5*step[k]
		}
	}
	for k := range 3 {
		if !awake[k] {
			out.asleep[k] = step[k] * step[k] / 12
		}
	}
	return out
}

// add measures one interval from its times, axes and medians. It returns the
// spread of the samples on each axis, spikes left out.
func (l *levels) add(ts []float64, axes [3][]float64, centre [3]float64, on bool) (wide [3]float64) {
	scale := l.scale[side(on)]
	mask, spikes := findSpikes(axes, centre, scale)
	l.spikes += spikes
	l.samples += len(ts) - spikes
	var rest [3][]float64
	var mean [3]float64
	for k := range 3 {
		x := without(axes[k], mask)
		wide[k] = spread(x)
		if spikes > 0 {
			centre[k] = median(x)
		}
		var u []float64
		mean[k], u = biweight(x, centre[k], scale[k])
		rest[k] = bridge(u, mask)
	}
	mid, _ := moments(ts)
	times := make([]float64, len(ts))
	for i, t := range ts {
		times[i] = t - mid
	}
	l.mean = append(l.mean, vec(mean))
	l.rest, l.times = append(l.rest, rest), append(l.times, times)
	return wide
}

// pulseNoise is the noise within the intervals.
type pulseNoise struct {
	gamma [2]magmath.Mat3 // covariance of one sample, off and on
	phi   [3]float64      // autocorrelation at lag one on each axis, of both
	over  [3]float64      // factor by which phi's own error makes the variance of a mean too large, on average
	df    float64
}

// meanVariance returns the variance of the mean of n values of a first-order
// autoregression of unit variance.
//
// Source: Box and Jenkins 1976, Time Series Analysis, ch. 2 (from memory).
func meanVariance(phi, n float64) float64 {
	q := 1 - phi
	return max((1+phi)/q-2*phi*(1-math.Pow(phi, n))/(n*q*q), 0) / n
}

// expectedLag1 returns the expected sum of neighbouring products over the expected
// sum of squares, both about the mean of n values of a first-order
// autoregression. Derived from the definitions: with m the mean, the sum of
// products about it is sum x x' - (n+1) m^2 + m (x_1 + x_n).
func expectedLag1(phi, n float64) float64 {
	v := meanVariance(phi, n)
	end := (1 - math.Pow(phi, n)) / (1 - phi) / n // covariance of m and x_1
	return ((n-1)*phi - (n+1)*v + 2*end) / (n - n*v)
}

// solvePhi returns the coefficient of which expectedLag1 in intervals of n values
// is the pooled r; 0 for intervals of fewer than three. It is nearly free of
// bias where many intervals are pooled; a correction to first order in 1/n is
// not.
func solvePhi(r, n float64) float64 {
	if n < 3 {
		return 0
	}
	low, high := -0.5, phiMax
	for range 40 {
		mid := (low + high) / 2
		if expectedLag1(mid, n) < r {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// noise returns the noise of all intervals pooled.
func (l levels) noise() pulseNoise {
	var out pulseNoise
	var square, product [3]float64
	n, spans := 0.0, float64(len(l.spans))
	for _, rest := range l.rest {
		n += float64(len(rest[0]))
		for k, u := range rest {
			for i, v := range u {
				square[k] += v * v
				if i > 0 {
					product[k] += v * u[i-1]
				}
			}
		}
	}
	memory := 0.0
	each := math.Round(n / spans) // whole: a negative coefficient has no other powers
	for k := range 3 {
		if square[k] > 0 {
			out.phi[k] = solvePhi(product[k]/square[k], each)
		}
	}
	out.phi = drawTogether(out.phi, n)
	for k, phi := range out.phi {
		memory += (1 + phi) / (1 - phi) / 3
		out.over[k] = overshoot(phi, each, n)
	}
	out.gamma = [2]magmath.Mat3{l.sampleCov(false, out.phi), l.sampleCov(true, out.phi)}
	// As for a single dwell: the variance of gamma, and that of phi.
	out.df = max((n-spans)/(1+2*memory), 1)
	return out
}

// drawTogether returns the coefficients of the axes moved towards their mean, as
// far as they differ no more than those of n samples do by chance. One chip and
// one filter make the noise of all three, and a coefficient from few samples
// goes to infinite memory now and then.
//
// Source: positive-part shrinkage after James and Stein 1961 (from memory).
func drawTogether(phi [3]float64, n float64) [3]float64 {
	mean, sd := moments(phi[:])
	chance := (1 - mean*mean) / n
	keep := 0.0
	if sd > 0 {
		keep = max(0, 1-chance/(sd*sd))
	}
	for k := range phi {
		phi[k] = mean + keep*(phi[k]-mean)
	}
	return phi
}

// overshoot returns the mean of g(phi + error) over g(phi) to second order, where
// g is the variance of the mean of n values over the variance left about it: g
// is steep and convex, so that an unbiased phi gives too large a variance on
// average, up to twice for intervals of ten values. phi comes from total values.
func overshoot(phi, n, total float64) float64 {
	const h = 0.02
	phi = min(max(phi, -0.4), 0.9)
	g := func(p float64) float64 {
		v := min(meanVariance(p, n), 0.95)
		return v / (1 - v)
	}
	slope := (expectedLag1(phi+h, n) - expectedLag1(phi-h, n)) / (2 * h)
	if n < 3 || !(slope > 0.05) {
		return 1
	}
	variance := (1 - phi*phi) / total / (slope * slope)
	second := (g(phi+h) - 2*g(phi) + g(phi-h)) / (h * h)
	return min(max(1+second*variance/(2*g(phi)), 1), 3)
}

// sampleCov returns the covariance of one sample while on or off. The samples of
// an interval are about its own mean and lack the variance of that.
func (l levels) sampleCov(on bool, phi [3]float64) magmath.Mat3 {
	var out magmath.Mat3
	var count [3]float64
	for i, s := range l.spans {
		if s.on != on {
			continue
		}
		n := float64(len(l.rest[i][0]))
		for k := range 3 {
			count[k] += n - n*min(meanVariance(phi[k], n), 0.8)
		}
		out = out.Add(productMean(l.rest[i], 1))
	}
	for a := range 3 {
		for b := range 3 {
			if count[a] > 0 && count[b] > 0 {
				out[a][b] /= math.Sqrt(count[a] * count[b])
			}
		}
	}
	return out
}

// within returns the covariance of the weighted sum of means from the noise
// within the intervals, with the probe's floor and rounding.
func (l levels) within(weights []float64, noise pulseNoise, o PulseOptions) magmath.Mat3 {
	var out magmath.Mat3
	least := 0.0
	for i, w := range weights {
		n := float64(len(l.rest[i][0]))
		var f [3]float64
		for k, phi := range noise.phi {
			f[k] = math.Sqrt(meanVariance(phi, n) / noise.over[k])
		}
		g := noise.gamma[side(l.spans[i].on)]
		for a := range 3 {
			for b := range 3 {
				out[a][b] += w * w * g[a][b] * f[a] * f[b]
			}
		}
		least += w * w * o.FloorUT * o.FloorUT / n
	}
	for k := range 3 {
		out[k][k] = max(out[k][k], least) + 2*l.asleep[k]
	}
	return out
}
