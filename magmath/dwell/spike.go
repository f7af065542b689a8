package dwell

import "math"

// findSpikes marks samples more than sigmas off on any axis. Few samples give
// a poor scale, so that the limit is wider for them. No more than half are
// ever marked.
func findSpikes(cols [3][]float64, centre, scale [3]float64, sigmas float64) (mask []bool, count int) {
	n := len(cols[0])
	limit := sigmas * (1 + 10/float64(n))
	mask = make([]bool, n)
	for i := range n {
		for k := range 3 {
			if math.Abs(cols[k][i]-centre[k]) > limit*scale[k] {
				mask[i] = true
			}
		}
		if mask[i] {
			count++
		}
	}
	if 2*count > n {
		return make([]bool, n), 0
	}
	return mask, count
}

// without is x less the marked samples.
func without(x []float64, mask []bool) []float64 {
	out := make([]float64, 0, len(x))
	for i, v := range x {
		if !mask[i] {
			out = append(out, v)
		}
	}
	return out
}

// bridge puts the marked places back into u by straight lines between their
// neighbours, so that leaving a spike out does not cut the autocorrelation.
func bridge(u []float64, mask []bool) []float64 {
	if len(u) == len(mask) {
		return u
	}
	out := make([]float64, len(mask))
	next := 0
	for i, bad := range mask {
		if !bad {
			out[i] = u[next]
			next++
		}
	}
	for i := 0; i < len(mask); i++ {
		if !mask[i] {
			continue
		}
		end := i
		for end < len(mask) && mask[end] {
			end++
		}
		fillGap(out, i, end)
		i = end
	}
	return out
}

func fillGap(x []float64, from, to int) {
	left, right := 0.0, 0.0
	switch {
	case from > 0 && to < len(x):
		left, right = x[from-1], x[to]
	case from > 0:
		left, right = x[from-1], x[from-1]
	case to < len(x):
		left, right = x[to], x[to]
	}
	for i := from; i < to; i++ {
		f := float64(i-from+1) / float64(to-from+1)
		x[i] = left + f*(right-left)
	}
}
