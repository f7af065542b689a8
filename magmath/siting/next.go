package siting

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
)

// Next returns the indices of candidates at which measurements, one after the
// other, reduce the weighted uncertainty most: the sum over candidates of weight
// times the trace of their covariance. cov is their joint covariance before,
// three rows a candidate, microtesla squared, and is not modified; a measurement
// has the variance noiseUT2 in each component. The places are at least apartMM
// from one another. There are fewer than count where nothing more is gained, and
// none if the numbers of at, cov and weight do not match.
//
// Source: greedy choice by the variance a measurement removes; A. Krause, A.
// Singh, C. Guestrin, Near-Optimal Sensor Placements in Gaussian Processes,
// JMLR 9 (2008), discuss it and its relatives.
func Next(at []r2.Vec, cov *mat.SymDense, weight []float64, noiseUT2, apartMM float64, count int) []int {
	n := len(at)
	if n == 0 || cov == nil || cov.SymmetricDim() != 3*n || len(weight) != n {
		return nil
	}
	c := mat.DenseCopyOf(cov)
	var picked []int
	for len(picked) < count {
		best, gain := -1, 1e-9
		for i := range n {
			if tooNear(at, picked, i, apartMM) {
				continue
			}
			if g := removed(c, weight, noiseUT2, i); g > gain {
				best, gain = i, g
			}
		}
		if best < 0 {
			break
		}
		picked = append(picked, best)
		condition(c, noiseUT2, best)
	}
	return picked
}

func tooNear(at []r2.Vec, picked []int, i int, mm float64) bool {
	for _, j := range picked {
		if i == j || r2.Norm(r2.Sub(at[i], at[j])) < mm {
			return true
		}
	}
	return false
}

// removed returns the reduction by a measurement at candidate i. It neglects the
// correlations between the three components, which is good enough to rank by.
func removed(c *mat.Dense, weight []float64, noise float64, i int) float64 {
	sum := 0.0
	for a := range 3 {
		row := c.RawRowView(3*i + a)
		v := row[3*i+a] + noise
		if !(v > 0) {
			continue
		}
		part := 0.0
		for j, w := range weight {
			if w > 0 {
				part += w * (row[3*j]*row[3*j] + row[3*j+1]*row[3*j+1] + row[3*j+2]*row[3*j+2])
			}
		}
		sum += part / v
	}
	if math.IsNaN(sum) {
		return 0
	}
	return sum
}

// condition replaces c by the covariance after a measurement at candidate i,
// component by component.
func condition(c *mat.Dense, noise float64, i int) {
	n, _ := c.Dims()
	col := make([]float64, n)
	for a := range 3 {
		k := 3*i + a
		copy(col, c.RawRowView(k))
		v := col[k] + noise
		if !(v > 0) {
			continue
		}
		for r := range n {
			f := col[r] / v
			row := c.RawRowView(r)
			for s, x := range col {
				row[s] -= f * x
			}
		}
	}
}
