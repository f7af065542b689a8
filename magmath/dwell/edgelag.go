package dwell

import (
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// edgeLags are the lags of the single edges of a clear station, as far as one
// sample shows the step: along the step vector, the place where the levels on
// either side divide best. Edges at the end of the search are left out.
func (k stepped) edgeLags(lag float64, o PulseOptions) []float64 {
	spans := k.c.spans(shift(k.nominal, lag), o.DropS, 0)
	var on, off []r3.Vec
	for _, s := range spans {
		if s.on {
			on = append(on, k.c.B[s.from:s.to]...)
		} else {
			off = append(off, k.c.B[s.from:s.to]...)
		}
	}
	if len(on) < 4 || len(off) < 4 {
		return nil
	}
	high, low := magmath.MedianVec(on), magmath.MedianVec(off)
	by := r3.Sub(high, low)
	past := make([]float64, len(k.c.B))
	middle := r3.Scale(0.5, r3.Add(high, low))
	size := r3.Norm2(by)
	for i, b := range k.c.B {
		past[i] = min(max(r3.Dot(r3.Sub(b, middle), by)/size, -0.5), 0.5)
	}
	noise := 0.0
	for _, set := range [][]r3.Vec{on, off} {
		p := make([]float64, len(set))
		for i, b := range set {
			p[i] = r3.Dot(b, by) / size
		}
		noise = max(noise, madSD(p, median(p)))
	}
	if noise*clearRatio > 1 {
		return nil
	}
	var out []float64
	for i, e := range k.nominal {
		if l, ok := k.edgeLag(i, e, past, o); ok {
			out = append(out, l)
		}
	}
	return out
}

// edgeLag looks for one edge, from the middle of the interval before it to
// three quarters into the one after: a hand is late rather than early.
func (k stepped) edgeLag(i int, e Edge, past []float64, o PulseOptions) (float64, bool) {
	ts := k.c.TS
	from, to := e.TS+o.LagLeastS, e.TS+o.LagMostS
	if i > 0 {
		from = max(from, (e.TS+k.nominal[i-1].TS)/2)
	}
	if i+1 < len(k.nominal) {
		to = min(to, e.TS+0.75*(k.nominal[i+1].TS-e.TS))
	}
	low, high := sort.SearchFloat64s(ts, from), sort.SearchFloat64s(ts, to)
	sign := -1.0
	if e.On {
		sign = 1
	}
	best, bestSum, sum := low, 0.0, 0.0
	for j := low; j < high; j++ {
		sum -= sign * past[j]
		if sum > bestSum {
			best, bestSum = j+1, sum
		}
	}
	if best <= low || best >= high {
		return 0, false
	}
	return (ts[best-1]+ts[best])/2 - e.TS, true
}
