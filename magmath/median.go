package magmath

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Median returns the median of x, for an even number of values the mean of the
// two in the middle; NaN if x is empty. It sorts x.
func Median(x []float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	return x[(n-1)/2]/2 + x[n/2]/2 // halved first: a sum could overflow
}

// Quantile returns the value of x below which the share p of x lies, 0 to 1,
// without interpolation; NaN if x is empty. It sorts x.
func Quantile(x []float64, p float64) float64 {
	n := len(x)
	if n == 0 {
		return math.NaN()
	}
	slices.Sort(x)
	return x[min(int(p*float64(n)), n-1)]
}

// MedianVec returns the median of each component; NaN in each if v is empty. It
// does not modify v.
func MedianVec(v []r3.Vec) r3.Vec {
	x := make([]float64, len(v))
	of := func(component func(r3.Vec) float64) float64 {
		for i, b := range v {
			x[i] = component(b)
		}
		return Median(x)
	}
	return r3.Vec{
		X: of(func(b r3.Vec) float64 { return b.X }),
		Y: of(func(b r3.Vec) float64 { return b.Y }),
		Z: of(func(b r3.Vec) float64 { return b.Z }),
	}
}
