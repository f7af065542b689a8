package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// mend drops the cuts over which one fit serves most readings of both sides
// after all.
func (c *cutter) mend(cuts []int) []int {
	for i := 0; i < len(cuts); i++ {
		from, to := 0, len(c.x)
		if i > 0 {
			from = cuts[i-1]
		}
		if i+1 < len(cuts) {
			to = cuts[i+1]
		}
		one := c.fit(from, to)
		side := func(a, b int) float64 {
			var d []float64
			for k := a; k < b; k++ {
				d = append(d, math.Abs(c.off(one, k)))
			}
			return median(d)
		}
		if max(side(from, cuts[i]), side(cuts[i], to)) < max(smallestStep/2, 2*c.noise) {
			cuts = append(cuts[:i], cuts[i+1:]...)
			i--
		}
	}
	return cuts
}

// settle moves a cut where the readings beside it fit both sides: what is left
// of a side that was hardly turned bends to a few readings more. They go to the
// side whose own readings are spread wider.
func (c *cutter) settle(cuts []int) {
	for i, at := range cuts {
		from, to := 0, len(c.x)
		if i > 0 {
			from = cuts[i-1]
		}
		if i+1 < len(cuts) {
			to = cuts[i+1]
		}
		left, right := c.fit(from, at), c.fit(at, to)
		back, ahead := at, at
		for back > from+1 && c.fits(right, back-1) {
			back--
		}
		for ahead < to-1 && c.fits(left, ahead) {
			ahead++
		}
		switch {
		case back < at && c.extent(from, back) < c.extent(at, to):
			cuts[i] = back
		case ahead > at && c.extent(ahead, to) < c.extent(from, at):
			cuts[i] = ahead
		}
	}
}

// fits says that one reading, or the next on either side of it, is where the
// fit expects it.
func (c *cutter) fits(f *fit, k int) bool {
	limit := max(smallestStep/2, 4*c.noise)
	for j := max(k-1, 0); j <= min(k+1, len(c.x)-1); j++ {
		if math.Abs(c.off(f, j)) < limit {
			return true
		}
	}
	return false
}

// extent is the root mean square distance of readings from their mean.
func (c *cutter) extent(from, to int) float64 {
	var mean r3.Vec
	for _, v := range c.x[from:to] {
		mean = r3.Add(mean, r3.Scale(1/float64(to-from), v))
	}
	sum := 0.0
	for _, v := range c.x[from:to] {
		sum += r3.Norm2(r3.Sub(v, mean))
	}
	return math.Sqrt(sum / float64(max(to-from, 1)))
}

// cutOut cuts at an edge of the longest run of readings that a fit to most of
// the stretch leaves aside. A disturbance that comes and goes needs two cuts;
// the first alone gains nothing.
func (c *cutter) cutOut(from, to int, one *fit, most int) []int {
	p := c.base
	p.x, p.loss = c.x[from:to], tukey()
	f, ok := p.solve(one.o, one.e)
	if !ok {
		return nil
	}
	a, b := c.longestOff(from, to, f)
	if b-a < segmentAtRest {
		return nil
	}
	at := a
	if a-from < segmentAtRest {
		at = b
	}
	if at-from < segmentAtRest || to-at < segmentAtRest {
		return nil
	}
	cuts := append(c.split(from, at, most/2), at)
	return append(cuts, c.split(at, to, most/2)...)
}

// longestOff is the longest run a..b in which most of any five neighbours are
// off by what matters.
func (c *cutter) longestOff(from, to int, f *fit) (a, b int) {
	limit := max(smallestStep, 4*c.noise)
	start := from
	for k := from; k <= to; k++ {
		off := 0
		for j := max(from, k-2); j < min(to, k+3); j++ {
			if math.Abs(c.off(f, j)) > limit {
				off++
			}
		}
		if k < to && off >= 3 {
			continue
		}
		if k-start > b-a {
			a, b = start, k
		}
		start = k + 1
	}
	return a, b
}

// sharpen moves a cut to where the two fits say it is.
func (c *cutter) sharpen(from, to, at int, left, right *fit) int {
	sum, best, out := 0.0, math.Inf(1), at
	for k := from; k < to; k++ {
		if k >= from+segmentAtRest && k <= to-segmentAtRest && sum < best {
			best, out = sum, k
		}
		sum += c.price(c.off(left, k)) - c.price(c.off(right, k))
	}
	return out
}

// off is the residual of one reading under another stretch's fit.
func (c *cutter) off(f *fit, k int) float64 {
	return see(f.matrix(), f.o, c.x[k]).residual(f.target)
}

// matters says that a fit to one side is off by more than the noise and more
// than a microtesla on the other.
func (c *cutter) matters(from, at, to int, left, right *fit) bool {
	var a, b []float64
	for k := from; k < at; k++ {
		a = append(a, math.Abs(c.off(right, k)))
	}
	for k := at; k < to; k++ {
		b = append(b, math.Abs(c.off(left, k)))
	}
	return max(median(a), median(b)) > max(smallestStep, 3*c.noise)
}
