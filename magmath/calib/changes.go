package calib

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

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
	w.res.refuse(changed(w.res.Changes, longest(w.res.Steady), false))
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

func longest(spans []Span) Span {
	best := spans[0]
	for _, s := range spans[1:] {
		if s.lengthS() > best.lengthS() {
			best = s
		}
	}
	return best
}

// jumps reports whether an offset that jumps at some moment would explain the
// residuals much better, by a score test at 30 moments.
//
// Source: Rao 1948, Proc. Cambridge Phil. Soc. 44, 50; as a test for a change
// at an unknown moment Andrews 1993, Econometrica 61, 821 (both from memory).
func (f *fit) jumps(x []r3.Vec, prior []float64) bool {
	n := len(x)
	m := f.matrix()
	all := newScore()
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
	all = running.clone()
	for j, sd := range prior {
		all.info.SetSym(3+j, 3+j, all.info.At(3+j, 3+j)+1/(sd*sd))
	}
	var c mat.Cholesky
	if !c.Factorize(all.info) {
		return false
	}
	for _, p := range parts {
		if p.statistic(&c, all.s) > screenLimit {
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

// statistic returns the score test for these readings having an offset of their
// own, given the information of all readings and their score, which the prior
// keeps a little off zero.
func (q *score) statistic(all *mat.Cholesky, whole [nAll]float64) float64 {
	var left mat.Dense // all^-1 I_q
	if err := all.SolveTo(&left, q.info); err != nil {
		return 0
	}
	var mean mat.VecDense
	if err := all.SolveVecTo(&mean, mat.NewVecDense(nAll, whole[:])); err != nil {
		return 0
	}
	v := mat.NewSymDense(3, nil)
	s := mat.NewVecDense(3, nil)
	for a := range 3 {
		d := q.s[a]
		for k := range nAll {
			d -= q.info.At(a, k) * mean.AtVec(k)
		}
		s.SetVec(a, d)
		for b := a; b < 3; b++ {
			sum := q.info.At(a, b)
			for k := range nAll {
				sum -= q.info.At(a, k) * left.At(k, b)
			}
			v.SetSym(a, b, sum)
		}
	}
	for a := range 3 {
		v.SetSym(a, a, v.At(a, a)*(1+1e-9)+1e-9)
	}
	var c mat.Cholesky
	var t mat.VecDense
	if !c.Factorize(v) || c.SolveVecTo(&t, s) != nil {
		return 0
	}
	return mat.Dot(s, &t)
}
