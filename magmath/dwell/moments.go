package dwell

import "math"

// Moments are the arithmetic mean and the sample standard deviation (divisor
// n-1) of x, by two passes about the first value with the correction of the
// second pass. Without values both are NaN; of one value the deviation is 0.
//
// Source: Chan, Golub, LeVeque 1983, The American Statistician 37(3), 242,
// the corrected two-pass algorithm (from memory).
func Moments(x []float64) (mean, sd float64) {
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

// Lag1 is the autocorrelation of x at lag one, the sum of neighbouring
// products over the sum of squares, both about the mean. It is 0 where it is
// undefined: fewer than two values, or all alike.
//
// Source: NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.5.12
// (from memory); the certified values of StRD follow it.
func Lag1(x []float64) float64 {
	mean, _ := Moments(x)
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
