package dwell

import (
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

// edges are the switching times of a capture and the level before the first.
// labelled edges are exact to a sample.
func (c PulsedSeries) edges(lag Lag, o PulseOptions) (at []Edge, labelled bool) {
	if l := c.labels(); l != nil {
		return labelEdges(c.TS, l), true
	}
	return shift(c.nominal(lag, o), lag.MeanS), false
}

// nominal are the prompted edges, or those of the rhythm, without lag. A
// prompt that has the load off as the capture begins is no edge: it was off
// before, too.
func (c PulsedSeries) nominal(lag Lag, o PulseOptions) []Edge {
	var out []Edge
	for _, e := range c.Prompts {
		if len(out) == 0 && !e.On && e.TS <= c.TS[0]+o.DropS {
			continue
		}
		if len(out) == 0 || out[len(out)-1].On != e.On {
			out = append(out, e)
		}
	}
	if len(out) > 0 {
		return out
	}
	start, onS, offS := o.OffS, o.OnS, o.OffS
	if lag.Source == FromSeen {
		start, onS, offS = lag.StartS, lag.OnS, lag.OffS
	}
	if !(onS > 0 && offS > 0) {
		return nil
	}
	at, end, on := c.TS[0]+start, c.TS[len(c.TS)-1], true
	for at < end && len(out) < len(c.TS) {
		out = append(out, Edge{at, on})
		if on {
			at += onS
		} else {
			at += offS
		}
		on = !on
	}
	return out
}

func shift(edges []Edge, by float64) []Edge {
	out := slices.Clone(edges)
	for i := range out {
		out[i].TS += by
	}
	return out
}

// spans cut the capture at its edges. After an edge drop seconds and the
// guard go, before an edge the guard: twice the spread of the lag, but never
// more than a quarter of the interval. A stump with under a quarter of the
// ordinary number of samples is left out.
func (c PulsedSeries) spans(edges []Edge, drop, guard float64) []span {
	if len(edges) == 0 {
		return nil
	}
	n := len(c.TS)
	var out []span
	var sizes []float64
	for i := 0; i <= len(edges); i++ {
		s := span{on: !edges[0].On, to: n}
		if i > 0 {
			g := guard
			if i < len(edges) {
				g = min(guard, (edges[i].TS-edges[i-1].TS)/4)
			}
			s.on = edges[i-1].On
			s.from = sort.SearchFloat64s(c.TS, edges[i-1].TS+drop+g)
		}
		if i < len(edges) {
			g := guard
			if i > 0 {
				g = min(guard, (edges[i].TS-edges[i-1].TS)/4)
			}
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
	step := steps(sortedAxes(cols), o.Options)
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
		if spikes > 0 {
			centre[k] = median(x)
		}
		mean[k], u = biweight(x, centre[k], scale[k])
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

// pulseNoise is the noise within the intervals: covariance of one sample, off
// and on apart, and the lag-one coefficient of each axis, common to both.
type pulseNoise struct {
	gamma [2]magmath.Mat3
	phi   [3]float64
	over  [3]float64 // by how much phi's own error makes the variance of a mean too large, on average
	df    float64
}

// meanVariance is the variance of the mean of n values of a first-order
// autoregression of unit variance.
//
// Source: Box and Jenkins 1976, Time Series Analysis, ch. 2 (from memory).
func meanVariance(phi, n float64) float64 {
	q := 1 - phi
	return max((1+phi)/q-2*phi*(1-math.Pow(phi, n))/(n*q*q), 0) / n
}

// expectedLag1 is the expected sum of neighbouring products over the expected
// sum of squares, both about the mean of n values of a first-order
// autoregression. Derived from the definitions: with m the mean, the sum of
// products about it is sum x x' - (n+1) m^2 + m (x_1 + x_n).
func expectedLag1(phi, n float64) float64 {
	v := meanVariance(phi, n)
	end := (1 - math.Pow(phi, n)) / (1 - phi) / n // covariance of m and x_1
	return ((n-1)*phi - (n+1)*v + 2*end) / (n - n*v)
}

// solvePhi is the coefficient whose expectation in intervals of n values is
// the pooled r. Pooling many intervals makes this nearly free of bias, where
// a correction to first order in 1/n is not.
func solvePhi(r, n float64) float64 {
	low, high := -0.5, phiMax
	if n < 3 {
		return 0
	}
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

// noise pools the intervals.
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
	for k := range 3 {
		if square[k] > 0 {
			out.phi[k] = solvePhi(product[k]/square[k], n/spans)
		}
	}
	out.phi = drawTogether(out.phi, n)
	for k, phi := range out.phi {
		memory += (1 + phi) / (1 - phi) / 3
		out.over[k] = overshoot(phi, n/spans, n)
	}
	for side := range 2 {
		out.gamma[side] = l.sampleCov(side, out.phi)
	}
	// As for a single dwell: the variance of gamma, and that of phi.
	out.df = max((n-spans)/(1+2*memory), 1)
	return out
}

// drawTogether moves the coefficients of the axes towards their mean as far
// as their differences are no larger than those of n samples would be by
// chance: one chip and one filter make the noise of all three, and a
// coefficient from few samples errs to infinite memory now and then.
//
// Source: positive-part shrinkage after James and Stein 1961 (from memory).
func drawTogether(phi [3]float64, n float64) [3]float64 {
	mean, sd := Moments(phi[:])
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

// overshoot is the mean of g(phi + error) over g(phi) to second order, with g
// the variance of an interval's mean in units of that left about it: g is
// steep and convex, so that an unbiased phi gives too large a variance on
// average, up to twice for intervals of ten values. total values stand behind
// phi.
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

// sampleCov is the covariance of one sample while off (0) or on (1). Each
// interval has lost its own mean, with as much of the variance as that has.
func (l levels) sampleCov(side int, phi [3]float64) magmath.Mat3 {
	var out magmath.Mat3
	var count [3]float64
	for i, s := range l.spans {
		if level(s.on) != side {
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

// within is the covariance of the weighted sum of means from the noise within
// the intervals, with the probe's floor and rounding.
func (l levels) within(weights []float64, noise pulseNoise, o PulseOptions) magmath.Mat3 {
	var out magmath.Mat3
	least := 0.0
	for i, w := range weights {
		n := float64(len(l.rest[i][0]))
		var f [3]float64
		for k, phi := range noise.phi {
			f[k] = math.Sqrt(meanVariance(phi, n) / noise.over[k])
		}
		g := noise.gamma[level(l.spans[i].on)]
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
