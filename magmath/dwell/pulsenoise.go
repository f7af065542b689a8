package dwell

import (
	"math"

	"quietmount/magmath"
)

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
