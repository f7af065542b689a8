package dwell

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// setDrift fits a straight line an axis by least squares and tests its slope
// against the long-run noise about it, the three axes together by
// Bonferroni's inequality.
func (e *Estimate) setDrift(ts []float64, u [3][]float64) {
	mt, sd := Moments(ts)
	n := len(ts)
	if n < 8 || sd == 0 {
		return
	}
	stt := sd * sd * float64(n-1)
	var slope [3]float64
	var rest [3][]float64
	for k := range 3 {
		for i, t := range ts {
			slope[k] += (t - mt) * u[k][i] / stt
		}
		rest[k] = make([]float64, n)
		for i, t := range ts {
			rest[k][i] = u[k][i] - slope[k]*(t-mt)
		}
	}
	lr := estimateLongRun(rest)
	e.Drift = vec(slope)
	for k := range 3 {
		e.DriftP = min(e.DriftP, 3*twoSided(slope[k], lr.omega[k][k]/stt, lr.df))
	}
}

// twoSided is the probability of a value as far from zero as v, given its
// variance with df degrees of freedom. Without variance it is 1.
func twoSided(v, variance, df float64) float64 {
	if !(variance > 0) {
		return 1
	}
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}
	return min(1, 2*t.CDF(-math.Abs(v)/math.Sqrt(variance)))
}
