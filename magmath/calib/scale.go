package calib

import (
	"math"
	"slices"
)

// scaleOf is a robust standard deviation of the residuals of a fit with k
// parameters: the root mean square of those within three standard deviations,
// found by iteration from the median of their absolute values.
//
// Gaussian noise cut at three standard deviations keeps the share 0.9733 of
// its variance (standard normal tables).
func scaleOf(resid []float64, k int) float64 {
	const floor, within, keeps = 1e-6, 3, 0.973337
	s := max(medianAbs(resid)*1.482602218505602, floor)
	for range 20 {
		sum, n := 0.0, 0
		for _, r := range resid {
			if math.Abs(r) <= within*s {
				sum += r * r
				n++
			}
		}
		// A share of what was left out is the tail of good readings.
		next := max(math.Sqrt(sum/keeps/max(float64(n)-float64(k)*float64(n)/float64(len(resid)), 1)), floor)
		if math.Abs(next-s) < 1e-6*s {
			return next
		}
		s = next
	}
	return s
}

func medianAbs(x []float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v)
	}
	return median(d)
}

// median sorts x; 0 without values.
func median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return 0
	}
	slices.Sort(x)
	return x[(n-1)/2]/2 + x[n/2]/2
}

// memory is how many readings one independent reading is worth: 1 + 2 sum of
// the autocorrelations of the weighted residuals, up to the first that noise
// alone would give, and the tail of a first-order process from there on. The
// sum is bounded by a fifth of the readings.
//
// The score of each parameter is the residual times a direction that turns, so
// its memory is no longer than the residual's: the factor is on the safe side.
func memory(resid, weight []float64) float64 {
	n := len(resid)
	u := make([]float64, n)
	zero := 0.0
	for i := range u {
		u[i] = weight[i] * resid[i]
		zero += u[i] * u[i]
	}
	if zero == 0 || n < 8 {
		return 1
	}
	doubt := 2.5 / math.Sqrt(float64(n))
	sum, first, last := 1.0, 0.0, 0.0
	for lag := 1; lag < n/4; lag++ {
		c := 0.0
		for i := lag; i < n; i++ {
			c += u[i] * u[i-lag]
		}
		rho := c / zero
		if rho < doubt {
			break
		}
		sum += 2 * rho
		if lag == 1 {
			first = min(rho, 0.97)
		}
		last = rho
	}
	sum += 2 * last * first / (1 - first)
	return min(sum, float64(n)/5)
}
