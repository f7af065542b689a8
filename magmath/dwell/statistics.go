package dwell

import (
	"math"
	"slices"
	"sort"

	"quietmount/magmath"
)

// moments returns the arithmetic mean and the sample standard deviation (divisor
// n-1) of x, by two passes about the first value with the correction of the
// second pass. Both are NaN without values; the deviation of one value is 0.
//
// Source: Chan, Golub, LeVeque 1983, The American Statistician 37(3), 242,
// the corrected two-pass algorithm (from memory).
func moments(x []float64) (mean, sd float64) {
	n := float64(len(x))
	if n == 0 {
		return math.NaN(), math.NaN()
	}
	sum := 0.0
	for _, v := range x {
		sum += v - x[0]
	}
	shift := sum / n
	sum, square := 0.0, 0.0
	for _, v := range x {
		d := (v - x[0]) - shift
		sum += d
		square += d * d
	}
	mean = x[0] + (shift + sum/n)
	if n < 2 {
		return mean, 0
	}
	return mean, math.Sqrt(max(square-sum*sum/n, 0) / (n - 1))
}

// lag1 returns the autocorrelation of x at lag one: the sum of neighbouring
// products over the sum of squares, both about the mean. It is 0 where that is
// undefined: fewer than two values, or all alike.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12
// (from memory); the certified values of StRD follow it.
func lag1(x []float64) float64 {
	mean, _ := moments(x)
	num, den := 0.0, 0.0
	for i, v := range x {
		den += (v - mean) * (v - mean)
		if i > 0 {
			num += (v - mean) * (x[i-1] - mean)
		}
	}
	if den == 0 {
		return 0
	}
	return num / den
}

// squares returns the sum of the squares of x.
func squares(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return s
}

// spread returns the largest value of x less the smallest.
func spread(x []float64) float64 { return slices.Max(x) - slices.Min(x) }

// ascending holds values in ascending order. Sorting is most of the work on a
// long series, so that one sorted copy serves for all of its quantiles.
type ascending []float64

// sorted returns the values of x in ascending order; x is not modified.
func sorted(x []float64) ascending {
	s := slices.Clone(x)
	slices.Sort(s)
	return s
}

// sortedAxes returns the values of each axis in ascending order.
func sortedAxes(axes [3][]float64) [3]ascending {
	return [3]ascending{sorted(axes[0]), sorted(axes[1]), sorted(axes[2])}
}

// quantile returns the value that the share p of the values lies below; NaN
// without values.
func (s ascending) quantile(p float64) float64 { return magmath.Quantile(s, p) }

// median returns the value in the middle; NaN without values.
func (s ascending) median() float64 { return magmath.Median(s) }

// madFactor makes the median absolute deviation of Gaussian data its standard
// deviation: 1/Phi^-1(3/4).
const madFactor = 1.482602218505602

// madSD returns the standard deviation from the median absolute deviation
// about the centre; NaN without values.
func (s ascending) madSD(centre float64) float64 {
	n := len(s)
	if n == 0 {
		return math.NaN()
	}
	above := sort.SearchFloat64s(s, centre)
	below := above - 1
	var lower, upper float64 // the two deviations in the middle
	for range n/2 + 1 {
		lower = upper
		if above == n || below >= 0 && centre-s[below] < s[above]-centre {
			upper = centre - s[below]
			below--
		} else {
			upper = s[above] - centre
			above++
		}
	}
	if n%2 == 1 {
		lower = upper
	}
	return madFactor * (lower/2 + upper/2)
}

// smallestGap returns the smallest difference between two distinct values, 0
// when all are alike. Differences of rounding size do not count.
func (s ascending) smallestGap() float64 {
	tiny := 1e-9 * max(math.Abs(s[0]), math.Abs(s[len(s)-1]))
	gap := 0.0
	for i := 1; i < len(s); i++ {
		if d := s[i] - s[i-1]; d > tiny && (gap == 0 || d < gap) {
			gap = d
		}
	}
	return gap
}

// median returns the median of x, NaN without values; x is not modified.
func median(x []float64) float64 { return sorted(x).median() }

// madSD returns ascending.madSD of the values of x, which is not modified.
func madSD(x []float64, centre float64) float64 { return sorted(x).madSD(centre) }

// biweightC tunes Tukey's biweight. At 4.685 it has 95 % of the mean's
// efficiency on Gaussian data, at 6 about 98 %, and 5 % of one-sided spikes
// of the worst size move it by about a tenth of a standard deviation.
// Source: Huber 1981, Robust Statistics, ch. 4 and 6 (from memory); the
// efficiency is measured in the tests.
const biweightC = 6.0

// biweight returns the location of x for the fixed scale sd > 0, iterated from
// start, the median of x. It also returns the influence of each sample:
// location = truth + mean of influence, to first order.
//
// Source: Huber 1981, Robust Statistics, sec. 6.4 (from memory).
func biweight(x []float64, start, sd float64) (loc float64, influence []float64) {
	loc = start
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
