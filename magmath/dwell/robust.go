package dwell

import (
	"math"
	"slices"

	"quietmount/magmath"
)

// madFactor makes the median absolute deviation of Gaussian data its standard
// deviation: 1/Phi^-1(3/4).
const madFactor = 1.482602218505602

// biweightC tunes Tukey's biweight. At 4.685 it has 95 % of the mean's
// efficiency on Gaussian data, at 6 about 98 %, and 5 % of one-sided spikes
// of the worst size move it by about a tenth of a standard deviation.
// Source: Huber 1981, Robust Statistics, ch. 4 and 6 (from memory); the
// efficiency is measured in the tests.
const biweightC = 6.0

// median of x, which stays as it is; NaN without values.
func median(x []float64) float64 {
	return magmath.Median(slices.Clone(x))
}

// madSD is the standard deviation from the median absolute deviation about
// the centre.
func madSD(x []float64, centre float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v - centre)
	}
	return madFactor * magmath.Median(d)
}

// biweight is the location of x for the fixed scale sd > 0, started at the
// median, and the influence of each sample: location = truth + mean of
// influence, to first order.
//
// Source: Huber 1981, Robust Statistics, sec. 6.4 (from memory).
func biweight(x []float64, sd float64) (loc float64, influence []float64) {
	loc = median(x)
	for range 50 {
		sum, weight := 0.0, 0.0
		for _, v := range x {
			w := biweightWeight((v - loc) / sd)
			sum += w * (v - loc)
			weight += w
		}
		step := sum / weight // the median itself always has weight
		loc += step
		if math.Abs(step) <= 1e-9*sd {
			break
		}
	}
	influence = make([]float64, len(x))
	slope := 0.0
	for i, v := range x {
		u := (v - loc) / sd
		influence[i] = biweightWeight(u) * (v - loc)
		if q := u / biweightC; q*q < 1 {
			slope += (1 - q*q) * (1 - 5*q*q)
		}
	}
	slope = max(slope/float64(len(x)), 0.2)
	for i := range influence {
		influence[i] /= slope
	}
	return loc, influence
}

func biweightWeight(u float64) float64 {
	q := u / biweightC
	if q*q >= 1 {
		return 0
	}
	return (1 - q*q) * (1 - q*q)
}

// smallestGap is the smallest difference between two distinct values of x,
// 0 when all are alike. Differences of rounding size do not count.
func smallestGap(x []float64) float64 {
	s := slices.Clone(x)
	slices.Sort(s)
	tiny := 1e-9 * max(math.Abs(s[0]), math.Abs(s[len(s)-1]))
	gap := 0.0
	for i := 1; i < len(s); i++ {
		if d := s[i] - s[i-1]; d > tiny && (gap == 0 || d < gap) {
			gap = d
		}
	}
	return gap
}

// quantile of x, which stays as it is; NaN without values.
func quantile(x []float64, p float64) float64 {
	return magmath.Quantile(slices.Clone(x), p)
}

// spread is largest less smallest.
func spread(x []float64) float64 { return slices.Max(x) - slices.Min(x) }
