package calib

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// mostOf is the share of the readings from which on a steady stretch is used
// alone.
const mostOf = 0.85

// conditions looks for a disturbance that began or ended while the probe was
// turned, and refuses the readings if there is one. It reports whether instead
// one stretch is enough and shall be used alone.
func (w *work) conditions(ctx context.Context) bool {
	if !w.base.jumps(w.x, w.basep.prior) {
		return false
	}
	ts := w.data.ts
	cuts := changes(ctx, w.x, w.basep, w.base)
	if len(cuts) == 0 {
		return false
	}
	for _, k := range cuts {
		w.res.Changes = append(w.res.Changes, ts[k-1]/2+ts[k]/2)
	}
	w.res.Changes = joined(w.res.Changes)
	from := ts[0]
	for _, at := range append(w.res.Changes, ts[len(ts)-1]) {
		w.res.Steady = append(w.res.Steady, Span{from, at})
		from = at
	}
	if a, b := w.widest(ctx, cuts); float64(b-a) >= mostOf*float64(len(ts)) {
		w.main = &Span{ts[a], ts[b-1]}
		return true
	}
	longest := slices.MaxFunc(w.res.Steady, func(a, b Span) int { return cmp.Compare(a.lengthS(), b.lengthS()) })
	w.res.refuse(changed(w.res.Changes, longest, false))
	return false
}

// changed returns the remark that conditions changed at some times, with the
// longest steady stretch; used: it alone was fitted.
func changed(atS []float64, s Span, used bool) remark.Remark {
	return remark.New("calib.changed", remark.Values{"at_s": atS, "from_s": s.FromS, "to_s": s.ToS, "used": used})
}

// widest returns the stretch a..b between two cuts with the most readings,
// extended on both sides as long as the readings agree with a fit to it.
func (w *work) widest(ctx context.Context, cuts []int) (a, b int) {
	from := 0
	for _, k := range append(append([]int{}, cuts...), len(w.x)) {
		if k-from > b-a {
			a, b = from, k
		}
		from = k
	}
	p := w.basep
	p.x = w.x[a:b]
	f, ok := p.solve(ctx, w.base.o, w.base.e)
	if !ok {
		return a, b
	}
	m := f.matrix()
	fits := func(i int) bool { return math.Abs(see(m, f.o, w.x[i]).residual(f.target)) < 4*f.s }
	for a > 0 && (fits(a-1) || a > 1 && fits(a-2)) {
		a--
	}
	for b < len(w.x) && (fits(b) || b+1 < len(w.x) && fits(b+1)) {
		b++
	}
	return a, b
}

// joined replaces changes within two seconds of one another, of something that
// approaches or leaves, by their mean.
func joined(at []float64) []float64 {
	var out []float64
	sum, n := 0.0, 0.0
	for i, t := range at {
		if n > 0 && t-at[i-1] > 2 {
			out = append(out, sum/n)
			sum, n = 0, 0
		}
		sum, n = sum+t, n+1
	}
	if n > 0 {
		out = append(out, sum/n)
	}
	return out
}

// jumps reports whether an offset that jumps at some moment would explain the
// residuals much better, by a score test at 30 moments.
//
// Source: Rao 1948, Proc. Cambridge Phil. Soc. 44, 50; as a test for a change
// at an unknown moment Andrews 1993, Econometrica 61, 821 (both from memory).
func (f *fit) jumps(x []r3.Vec, prior []float64) bool {
	n := len(x)
	m := f.matrix()
	var parts []score
	running := newScore()
	every := max(n/30, 1)
	grad := make([]float64, nAll)
	for i, v := range x {
		see(m, f.o, v).derivatives(m, f.o, v, f.target, grad)
		running.add(grad, f.weight[i]*f.resid[i]/f.s, f.s)
		if (i+1)%every == 0 && i+1 < n {
			parts = append(parts, running.clone())
		}
	}
	all := running
	for j, sd := range prior {
		all.info.SetSym(3+j, 3+j, all.info.At(3+j, 3+j)+1/(sd*sd))
	}
	var c mat.Cholesky
	if !c.Factorize(all.info) {
		return false
	}
	for _, p := range parts {
		if p.statistic(&c, all.s, 3) > screenLimit {
			return true
		}
	}
	return false
}

// score is the gradient of the log-likelihood of some readings and their
// information.
type score struct {
	s    [nAll]float64
	info *mat.SymDense
}

func newScore() score { return score{info: mat.NewSymDense(nAll, nil)} }

func (q *score) clone() score {
	c := newScore()
	c.s = q.s
	c.info.CopySym(q.info)
	return c
}

func (q *score) add(grad []float64, psi, s float64) {
	for a := range nAll {
		q.s[a] += psi * grad[a] / s
		for b := a; b < nAll; b++ {
			q.info.SetSym(a, b, q.info.At(a, b)+grad[a]*grad[b]/(s*s))
		}
	}
}

// statistic returns the score test for these readings having the first of the
// parameters for their own: an offset with own = 3, a strength too with 4. It is
// given the information of all readings and their score, which the prior keeps a
// little off zero.
func (q *score) statistic(all *mat.Cholesky, whole [nAll]float64, own int) float64 {
	var left mat.Dense // all^-1 I_q
	if err := all.SolveTo(&left, q.info); err != nil {
		return 0
	}
	var mean mat.VecDense
	if err := all.SolveVecTo(&mean, mat.NewVecDense(nAll, whole[:])); err != nil {
		return 0
	}
	v := mat.NewSymDense(own, nil)
	s := mat.NewVecDense(own, nil)
	for a := range own {
		d := q.s[a]
		for k := range nAll {
			d -= q.info.At(a, k) * mean.AtVec(k)
		}
		s.SetVec(a, d)
		for b := a; b < own; b++ {
			sum := q.info.At(a, b)
			for k := range nAll {
				sum -= q.info.At(a, k) * left.At(k, b)
			}
			v.SetSym(a, b, sum)
		}
	}
	for a := range own {
		v.SetSym(a, a, v.At(a, a)*(1+1e-9)+1e-9)
	}
	var c mat.Cholesky
	var t mat.VecDense
	if !c.Factorize(v) || c.SolveVecTo(&t, s) != nil {
		return 0
	}
	return mat.Dot(s, &t)
}

const (
	screenLimit   = 25  // chi-square with 3 degrees of freedom, p < 2e-5
	splitGain     = 200 // of the robust cost, in units of the noise's variance
	smallestStep  = 1.0 // microtesla: a change that matters
	mostReadings  = 480 // a change is looked for in
	mostSegments  = 8
	segmentAtRest = 12 // readings
)

// changes returns the indices of the readings of x at which new conditions begin,
// none without a change. A stretch is cut where two fits explain it far better
// than one, and its parts are cut again.
func changes(ctx context.Context, x []r3.Vec, base problem, start *fit) []int {
	every := max((len(x)+mostReadings-1)/mostReadings, 1)
	var thin []r3.Vec
	for i := 0; i < len(x); i += every {
		thin = append(thin, x[i])
	}
	c := cutter{x: thin, base: base, start: start}
	c.base.rounds, c.base.steps = 3, 6
	// A short stretch hardly determines the strength; with a free one a sphere of
	// another size would fit both sides of a change.
	c.base.prior = append([]float64{}, base.prior...)
	c.base.prior[0] = min(c.base.prior[0], 0.15)
	c.noise = c.quietNoise(ctx)
	cuts := c.mend(ctx, c.split(ctx, 0, len(thin), mostSegments))
	c.settle(ctx, cuts)
	for i := range cuts {
		cuts[i] *= every
	}
	return cuts
}

// cutter looks for changes in thinned readings, with one noise for all stretches.
type cutter struct {
	x     []r3.Vec
	base  problem
	start *fit
	noise float64
}

func (c *cutter) fit(ctx context.Context, from, to int) *fit {
	p := c.base
	p.x = c.x[from:to]
	// The start serves a stretch near it, a sphere of its own any other.
	o, _ := startSphere(ctx, p.x)
	best, _ := p.solve(ctx, c.start.o, c.start.e)
	if r3.Norm(r3.Sub(o, c.start.o)) > c.noise {
		if other, ok := p.solve(ctx, o, make([]float64, nShapes)); ok && c.cost(other, other.resid) < c.cost(best, best.resid) {
			best = other
		}
	}
	return best
}

// cost returns the cost of residuals at the common noise, prior included.
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

// price returns the cost of one residual at the common noise. It is bounded, so
// that a few outliers make no cut.
func (c *cutter) price(resid float64) float64 {
	const most = 12 // standard deviations
	return c.base.loss.cost(min(math.Abs(resid)/c.noise, most))
}

// quietNoise returns the lower third quantile of the noise in a dozen stretches.
func (c *cutter) quietNoise(ctx context.Context) float64 {
	const parts = 12
	c.noise = c.start.s
	var s []float64
	for k := range parts {
		from, to := k*len(c.x)/parts, (k+1)*len(c.x)/parts
		if to-from >= segmentAtRest {
			s = append(s, c.fit(ctx, from, to).s)
		}
	}
	if len(s) == 0 {
		return c.start.s
	}
	return max(magmath.Quantile(s, 0.33), 1e-3*c.base.target)
}

// split returns the cuts of the stretch from..to that lower the cost by
// splitGain, at most most-1 of them.
func (c *cutter) split(ctx context.Context, from, to, most int) []int {
	const grid = 10
	if to-from < 2*segmentAtRest || most <= 1 {
		return nil
	}
	one := c.fit(ctx, from, to)
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
		a, b := c.fit(ctx, from, k), c.fit(ctx, k, to)
		if gain := whole - c.cost(a, a.resid) - c.cost(b, b.resid); gain > best {
			best, at, left, right = gain, k, a, b
		}
	}
	if best < splitGain {
		return c.cutOut(ctx, from, to, one, most)
	}
	at = c.sharpen(from, to, at, left, right)
	left, right = c.fit(ctx, from, at), c.fit(ctx, at, to)
	if !c.matters(from, at, to, left, right) {
		return nil
	}
	cuts := c.split(ctx, from, at, most/2)
	cuts = append(cuts, at)
	return append(cuts, c.split(ctx, at, to, most/2)...)
}

// mend drops the cuts whose two sides one fit serves for most readings.
func (c *cutter) mend(ctx context.Context, cuts []int) []int {
	for i := 0; i < len(cuts); i++ {
		from, to := 0, len(c.x)
		if i > 0 {
			from = cuts[i-1]
		}
		if i+1 < len(cuts) {
			to = cuts[i+1]
		}
		one := c.fit(ctx, from, to)
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

// settle moves a cut where the readings beside it fit both sides, so that they go
// to the side whose own readings are spread wider: a fit to a side that was
// hardly turned adapts to a few foreign readings.
func (c *cutter) settle(ctx context.Context, cuts []int) {
	for i, at := range cuts {
		from, to := 0, len(c.x)
		if i > 0 {
			from = cuts[i-1]
		}
		if i+1 < len(cuts) {
			to = cuts[i+1]
		}
		left, right := c.fit(ctx, from, at), c.fit(ctx, at, to)
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

// fits reports whether reading k or a neighbour of it agrees with f.
func (c *cutter) fits(f *fit, k int) bool {
	limit := max(smallestStep/2, 4*c.noise)
	for j := max(k-1, 0); j <= min(k+1, len(c.x)-1); j++ {
		if math.Abs(c.off(f, j)) < limit {
			return true
		}
	}
	return false
}

// extent returns the root mean square distance of readings from their mean.
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

// cutOut cuts at an end of the longest run of readings that disagree with a fit
// to most of the stretch. A disturbance that comes and goes needs two cuts, of
// which the first alone gains nothing.
func (c *cutter) cutOut(ctx context.Context, from, to int, one *fit, most int) []int {
	p := c.base
	p.x, p.loss = c.x[from:to], tukey()
	f, ok := p.solve(ctx, one.o, one.e)
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
	cuts := append(c.split(ctx, from, at, most/2), at)
	return append(cuts, c.split(ctx, at, to, most/2)...)
}

// longestOff returns the longest run a..b in which most of any five neighbours
// disagree with f.
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

// sharpen returns the cut at which the two fits explain the readings best.
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

// off returns the residual of reading k under a fit to any stretch.
func (c *cutter) off(f *fit, k int) float64 {
	return see(f.matrix(), f.o, c.x[k]).residual(f.target)
}

// matters reports whether the fit to one side disagrees with the other side by
// more than the noise and more than a microtesla.
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
