package calib

import (
	"math"

	"quietmount/magmath"
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
	if len(x) == 0 {
		return 0
	}
	return magmath.Median(x)
}
