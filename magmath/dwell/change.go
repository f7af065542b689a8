package dwell

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Shape is a kind of change within a dwell.
type Shape string

// The shapes of a change.
const (
	Step  Shape = "step"  // another level from FromTS to the end
	Visit Shape = "visit" // another level between FromTS and ToTS
	Drift Shape = "drift" // a steady slope over the dwell
)

// Change is a change of the field within a dwell.
type Change struct {
	Shape  Shape
	FromTS float64 // seconds, on the clock of the samples
	ToTS   float64 // end of the other level; the last sample for a step or a drift
	By     r3.Vec  // inside less outside, or last less first for a drift; uT
}

// changeScore is the least score of a change. Stationary noise with a lag-one
// autocorrelation of 0.6 reaches it in well under one dwell of a hundred, noise
// with 0.8 in about one (measured in the tests).
const changeScore = 42

// A block has at least changeBlock samples; a dwell has at most changeBlocks.
const (
	changeBlock  = 5
	changeBlocks = 48
)

// Changed returns the change of the field within a dwell and reports whether
// there is one, as when a magnet comes and goes. It takes medians of short
// blocks, which a spike does not move. The score is the log likelihood ratio,
// summed over the axes, of the window of blocks that a level of its own explains
// best. Changed finds changes far beyond the noise; smaller ones widen the
// covariance of Locate instead. It reports false for fewer than 20 readings and
// for a series of which Locate returns an error.
//
// Source: likelihood ratio of an epidemic alternative, Levin and Kline 1985,
// Statistics in Medicine 4, 469 (from memory); the threshold is by simulation.
func Changed(s Series, o Options) (Change, bool) {
	if s.Check() != nil {
		return Change{}, false
	}
	o = o.valid()
	if at, _, systematic := held(s.B); systematic {
		s = s.pick(at)
	}
	n := len(s.B)
	if n < 4*changeBlock {
		return Change{}, false
	}
	size := max(changeBlock, (n+changeBlocks-1)/changeBlocks)
	cols := columns(s.B)
	step := steps(sortedAxes(cols), o)
	var blocks [3][]float64 // medians
	for k := range 3 {
		for at := 0; at+size <= n; at += size {
			blocks[k] = append(blocks[k], median(cols[k][at:at+size]))
		}
	}
	var least [3]float64 // sum of squares that rounding alone may leave
	for k := range 3 {
		floor := max(step[k]/2, o.FloorUT/2)
		least[k] = floor * floor * float64(len(blocks[k])) / 12
	}
	from, to, score := bestWindow(blocks, least)
	slope, straight := line(blocks, least)
	switch {
	case max(score, straight) < changeScore:
		a, b, yes := unrest(blocks, least)
		if !yes {
			return Change{}, false
		}
		from, to = a, b
	case straight > score:
		return Change{Drift, s.TS[0], s.TS[n-1], slope}, true
	}
	return describe(s, cols, from*size, to*size, size, to == len(blocks[0])), true
}

// unrest returns the span of blocks far from the median level, more than ten
// robust deviations off, for a change that has no level of its own. It reports
// whether there are two such blocks at least; it finds them where less than half
// of the dwell is disturbed.
func unrest(x [3][]float64, least [3]float64) (from, to int, yes bool) {
	n := len(x[0])
	if n < 8 {
		return 0, 0, false
	}
	count := 0
	off := make([]bool, n)
	for k := range 3 {
		m := median(x[k])
		sd := max(madSD(x[k], m), math.Sqrt(12*least[k]/float64(n)))
		for i, v := range x[k] {
			off[i] = off[i] || math.Abs(v-m) > 10*sd
		}
	}
	from = -1
	for i, o := range off {
		if !o {
			continue
		}
		if from < 0 {
			from = i
		}
		to = i + 1
		count++
	}
	return max(from, 0), to, count >= 2 && to-from < n
}

// bestWindow returns the window [from, to) of blocks that a level of its own
// explains best, with its score. A window never begins at 0: of two levels, the
// later is the window.
func bestWindow(x [3][]float64, least [3]float64) (from, to int, score float64) {
	n := len(x[0])
	var sum [3][]float64
	var total [3]float64
	for k := range 3 {
		m, sd := moments(x[k])
		total[k] = sd * sd * float64(n-1)
		sum[k] = make([]float64, n+1)
		for i, v := range x[k] {
			sum[k][i+1] = sum[k][i] + v - m
		}
	}
	for a := 1; a < n; a++ {
		for b := a + 1; b <= n; b++ {
			in := float64(b - a)
			s := 0.0
			for k := range 3 {
				d := sum[k][b] - sum[k][a]
				gain := d * d * (1/in + 1/(float64(n)-in))
				s += float64(n) * math.Log((total[k]+least[k])/(max(total[k]-gain, 0)+least[k]))
			}
			if s > score {
				from, to, score = a, b, s
			}
		}
	}
	return from, to, score
}

// line returns the change over the dwell by a straight line through the blocks,
// with its score. A window has two parameters more than a line (where it begins
// and ends), which the score of the line gets as a bonus.
func line(x [3][]float64, least [3]float64) (by r3.Vec, score float64) {
	n := float64(len(x[0]))
	stt := n * (n*n - 1) / 12
	var change [3]float64
	for k := range 3 {
		m, sd := moments(x[k])
		sxt := 0.0
		for i, v := range x[k] {
			sxt += (float64(i) - (n-1)/2) * (v - m)
		}
		total := sd * sd * (n - 1)
		change[k] = sxt / stt * n
		score += n * math.Log((total+least[k])/(max(total-sxt*sxt/stt, 0)+least[k]))
	}
	return vec(change), score + 2*math.Log(n)
}

// describe returns the change in the window [from, to) of samples, whose ends it
// refines from blocks of the given size to a sample. The end of an open window
// is the end of the dwell.
func describe(s Series, cols [3][]float64, from, to, size int, open bool) Change {
	n := len(s.B)
	if open {
		to = n
	}
	level := func(a, b int) (in, out [3]float64) {
		for k := range 3 {
			rest := append(append([]float64(nil), cols[k][:a]...), cols[k][b:]...)
			in[k], out[k] = median(cols[k][a:b]), median(rest)
		}
		return in, out
	}
	in, out := level(from, to)
	by := r3.Sub(vec(in), vec(out))
	// Along By, a sample is inside when it is past the middle.
	past := make([]float64, n)
	middle := r3.Scale(0.5, r3.Add(vec(in), vec(out)))
	half := r3.Norm2(by) / 2
	for i, b := range s.B {
		past[i] = min(max(r3.Dot(r3.Sub(b, middle), by), -half), half) // no spike outvotes the rest
	}
	near := func(at int, sign float64) int { return divide(past, max(at-size, 1), min(at+size, n-1), sign) }
	from = near(from, 1)
	shape := Step
	end := n - 1
	if !open {
		shape = Visit
		to = near(to, -1)
		end = min(to, n-1)
	}
	if in, out = level(from, max(to, from+1)); to > from && to-from < n {
		by = r3.Sub(vec(in), vec(out))
	}
	return Change{shape, s.TS[from], s.TS[end], by}
}

// divide returns the index of [low, high] that divides past best: sign*past is
// negative before it and positive from it on, as far as one index can do.
func divide(past []float64, low, high int, sign float64) int {
	best, bestSum, sum := low, 0.0, 0.0
	for i := low; i < high; i++ {
		sum -= sign * past[i] // a later index puts i before it
		if sum > bestSum {
			best, bestSum = i+1, sum
		}
	}
	return best
}
