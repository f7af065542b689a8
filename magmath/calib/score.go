package calib

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// jumps says whether an offset that jumps at some moment would explain the
// residuals much better: a score test at 30 moments.
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

// score gathers gradients of the log-likelihood and their information.
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

// statistic is the score test of an offset of its own for these readings,
// given the information of all and the whole score (which the prior leaves a
// little off zero).
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
