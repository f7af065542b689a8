package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Span is a stretch of time in seconds.
type Span struct{ FromS, ToS float64 }

// LengthS is its duration.
func (s Span) LengthS() float64 { return s.ToS - s.FromS }

const (
	screenLimit   = 25  // chi-square with 3 degrees of freedom, p < 2e-5
	splitGain     = 200 // of the robust cost, in units of the noise's variance
	smallestStep  = 1.0 // microtesla: a change that matters
	mostReadings  = 480 // a change is looked for in
	mostSegments  = 8
	segmentAtRest = 12 // readings
)

// changes finds where the conditions changed: a stretch is cut where two fits
// explain it far better than one, again and again. x are vectors near the
// sphere; the answer are the first readings of the new conditions. No change
// gives none.
func changes(x []r3.Vec, base problem, start *fit) []int {
	every := max((len(x)+mostReadings-1)/mostReadings, 1)
	var thin []r3.Vec
	for i := 0; i < len(x); i += every {
		thin = append(thin, x[i])
	}
	c := cutter{x: thin, base: base, start: start}
	c.base.rounds, c.base.steps = 3, 6
	// Of a short stretch the strength is hardly known; left free, a sphere of
	// another size would bridge a change.
	c.base.prior = append([]float64{}, base.prior...)
	c.base.prior[0] = min(c.base.prior[0], 0.15)
	c.noise = c.quietNoise()
	cuts := c.mend(c.split(0, len(thin), mostSegments))
	c.settle(cuts)
	for i := range cuts {
		cuts[i] *= every
	}
	return cuts
}

type cutter struct {
	x     []r3.Vec
	base  problem
	start *fit
	noise float64
}

func (c *cutter) fit(from, to int) *fit {
	p := c.base
	p.x = c.x[from:to]
	// Of a still stretch nothing but its own place is known to begin with.
	o, _ := startSphere(p.x)
	best, _ := p.solve(c.start.o, c.start.e)
	if r3.Norm(r3.Sub(o, c.start.o)) > c.noise {
		if other, ok := p.solve(o, nil6()); ok && c.cost(other, other.resid) < c.cost(best, best.resid) {
			best = other
		}
	}
	return best
}

func nil6() []float64 { return make([]float64, nShapes) }

// cost of residuals at the common noise, prior included.
func (c *cutter) cost(f *fit, resid []float64) float64 {
	sum := 0.0
	for _, r := range resid {
		sum += c.price(r)
	}
	for j, sd := range c.base.prior {
		sum += f.e[j] * f.e[j] / (sd * sd)
	}
	return sum
}

// price is the cost of one residual at the common noise. It is bounded, so
// that a few wild readings are no reason for a cut.
func (c *cutter) price(resid float64) float64 {
	const most = 12 // standard deviations
	return c.base.loss.cost(min(math.Abs(resid)/c.noise, most))
}

// quietNoise is the noise in the quieter third of a dozen stretches.
func (c *cutter) quietNoise() float64 {
	const parts = 12
	c.noise = c.start.s
	var s []float64
	for k := range parts {
		from, to := k*len(c.x)/parts, (k+1)*len(c.x)/parts
		if to-from >= segmentAtRest {
			s = append(s, c.fit(from, to).s)
		}
	}
	if len(s) == 0 {
		return c.start.s
	}
	return max(magmath.Quantile(s, 0.33), 1e-3*c.base.target)
}

// split cuts the stretch from..to as long as that gains much.
func (c *cutter) split(from, to, most int) []int {
	const grid = 10
	if to-from < 2*segmentAtRest || most <= 1 {
		return nil
	}
	one := c.fit(from, to)
	whole := c.cost(one, one.resid)
	if whole < splitGain {
		return nil
	}
	best, at := 0.0, 0
	var left, right *fit
	for g := 1; g < grid; g++ {
		k := from + g*(to-from)/grid
		if k-from < segmentAtRest || to-k < segmentAtRest {
			continue
		}
		a, b := c.fit(from, k), c.fit(k, to)
		if gain := whole - c.cost(a, a.resid) - c.cost(b, b.resid); gain > best {
			best, at, left, right = gain, k, a, b
		}
	}
	if best < splitGain {
		return c.cutOut(from, to, one, most)
	}
	at = c.sharpen(from, to, at, left, right)
	left, right = c.fit(from, at), c.fit(at, to)
	if !c.matters(from, at, to, left, right) {
		return nil
	}
	cuts := c.split(from, at, most/2)
	cuts = append(cuts, at)
	return append(cuts, c.split(at, to, most/2)...)
}
