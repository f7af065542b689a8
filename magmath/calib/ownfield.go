package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// A weak magnet that is near for a third of the turn bends the fit and widens its
// scatter, so that hardly a reading is rejected. It shows as a stretch whose
// readings have an offset and a strength of their own.
const (
	ownGrid   = 30   // stretches begin and end at multiples of the turn's length over this
	ownLimit  = 40.0 // of the statistic of ownField, see the tests for its false alarms
	ownScaled = 1.5  // noise standard deviations that the field of a stretch must differ by
	nOwn      = 4    // parameters: an offset, and the strength
)

// ownFieldSpan returns the stretch of the readings that has a field of its own; ok
// is false where there is none: where the difference is not sure, or makes less
// than a microtesla. At most half of the readings are a stretch.
//
// The best stretch under a score test is refitted with nOwn parameters of its own,
// by weighted least squares about f. Noise and its memory are those of that wider
// model's residuals, which a foreign field does not spoil.
//
// Source: the test for two changes of a parameter follows Andrews 1993, as in
// fit.jumps; the limit is by simulation.
func (f *fit) ownFieldSpan(x []r3.Vec, prior []float64) (from, to int, ok bool) {
	l := f.linear(x, prior)
	from, to = l.bestStretch()
	if to <= from {
		return 0, 0, false
	}
	statistic, effect, noise := l.ownField(from, to)
	return l.at[from], l.at[to-1] + 1, statistic > ownLimit && effect > max(smallestStep, ownScaled*noise)
}

// linear is a fit's residuals with their derivatives by the nine parameters,
// without those of spikes, whose directions mean nothing.
type linear struct {
	at    []int // of each residual, its reading
	grad  [][nAll]float64
	resid []float64
	psi   []float64 // weight times residual over the noise
	s     float64
	prior []float64
}

func (f *fit) linear(x []r3.Vec, prior []float64) *linear {
	l := &linear{s: f.s, prior: prior}
	m := f.matrix()
	spike := spikes(f.resid)
	for i, v := range x {
		if spike[i] {
			continue
		}
		var grad [nAll]float64
		see(m, f.o, v).derivatives(m, f.o, v, f.target, grad[:])
		l.at, l.grad, l.resid = append(l.at, i), append(l.grad, grad), append(l.resid, f.resid[i])
		l.psi = append(l.psi, f.weight[i]*f.resid[i]/f.s)
	}
	return l
}

// spikes marks the residuals that stand out from their neighbours in time, which
// those of a magnet that is near for a while do not.
func spikes(resid []float64) []bool {
	const reach = 4 // neighbours on either side
	off := make([]float64, len(resid))
	var near []float64
	for i, r := range resid {
		near = append(near[:0], resid[max(0, i-reach):min(len(resid), i+reach+1)]...)
		off[i] = math.Abs(r - median(near))
	}
	limit := wild * scaleOf(off, 0)
	out := make([]bool, len(resid))
	for i, d := range off {
		out[i] = d > limit
	}
	return out
}

// bestStretch returns the stretch from..to on the grid with the largest score
// statistic.
func (l *linear) bestStretch() (from, to int) {
	n := len(l.resid)
	parts := []score{newScore()}
	running := newScore()
	ends := []int{0}
	for i := range n {
		running.add(l.grad[i][:], l.psi[i], l.s)
		if k := len(ends); (i+1)*ownGrid >= k*n {
			parts, ends = append(parts, running.clone()), append(ends, i+1)
		}
	}
	all := running.clone()
	for j, sd := range l.prior {
		all.info.SetSym(3+j, 3+j, all.info.At(3+j, 3+j)+1/(sd*sd))
	}
	var c mat.Cholesky
	if !c.Factorize(all.info) {
		return 0, 0
	}
	best := 0.0
	for a := range ends {
		for b := a + 1; b < len(ends) && b-a <= ownGrid/2; b++ {
			if s := parts[b].minus(parts[a]).statistic(&c, all.s, nOwn); s > best {
				best, from, to = s, ends[a], ends[b]
			}
		}
	}
	return from, to
}

// minus returns the score of the readings of q that are not in p.
func (q *score) minus(p score) *score {
	d := q.clone()
	for a := range nAll {
		d.s[a] -= p.s[a]
		for b := a; b < nAll; b++ {
			d.info.SetSym(a, b, d.info.At(a, b)-p.info.At(a, b))
		}
	}
	return &d
}

// ownField refits with an offset and a strength of the stretch from..to. It returns
// the square of their difference from the others' in units of its covariance, the
// root mean square of what it makes in a reading of the stretch, and the noise,
// both microtesla.
func (l *linear) ownField(from, to int) (statistic, effect, noise float64) {
	const k, rounds = nAll + nOwn, 8
	row := func(i int) (g [k]float64) {
		copy(g[:], l.grad[i][:])
		if i >= from && i < to {
			copy(g[nAll:], l.grad[i][:nOwn])
		}
		return g
	}
	rest := append([]float64{}, l.resid...)
	var c mat.Cholesky
	var theta mat.VecDense
	robust := huber()
	for range rounds {
		noise = scaleOf(rest, k)
		info, right := mat.NewSymDense(k, nil), mat.NewVecDense(k, nil)
		for i, r := range l.resid {
			g, w := row(i), robust.weight(rest[i]/noise)/(noise*noise)
			for a := range k {
				right.SetVec(a, right.AtVec(a)-w*g[a]*r)
				for b := a; b < k; b++ {
					info.SetSym(a, b, info.At(a, b)+w*g[a]*g[b])
				}
			}
		}
		for j, sd := range l.prior {
			info.SetSym(3+j, 3+j, info.At(3+j, 3+j)+1/(sd*sd))
		}
		if !c.Factorize(info) || c.SolveVecTo(&theta, right) != nil {
			return 0, 0, noise
		}
		for i, r := range l.resid {
			g := row(i)
			rest[i] = r + mat.Dot(mat.NewVecDense(k, g[:]), &theta)
		}
	}
	var inverse mat.SymDense
	var own mat.Cholesky
	if c.InverseTo(&inverse) != nil || !own.Factorize(inverse.SliceSym(nAll, k)) {
		return 0, 0, noise
	}
	d := theta.SliceVec(nAll, k)
	var t mat.VecDense
	if own.SolveVecTo(&t, d) != nil {
		return 0, 0, noise
	}
	for i := from; i < to; i++ {
		e := mat.Dot(mat.NewVecDense(nOwn, l.grad[i][:nOwn]), d)
		effect += e * e / float64(to-from)
	}
	return mat.Dot(d, &t) / memoryOf(rest, noise), math.Sqrt(effect), noise
}

// memoryOf returns the number of residuals per independent one: one and twice the
// sum of their correlations, up to the first lag at which white noise could give
// the estimate. Residuals are cut at three standard deviations.
func memoryOf(resid []float64, noise float64) float64 {
	cut := func(i int) float64 { return max(-3*noise, min(3*noise, resid[i])) }
	zero := 0.0
	for i := range resid {
		zero += cut(i) * cut(i)
	}
	tau := 1.0
	for lag := 1; lag <= min(longestLag, len(resid)/4); lag++ {
		sum := 0.0
		for i := lag; i < len(resid); i++ {
			sum += cut(i) * cut(i-lag)
		}
		if sum/zero < 2/math.Sqrt(float64(len(resid))) {
			break
		}
		tau += 2 * sum / zero
	}
	return tau
}
