package source

import (
	"math"
	"math/bits"

	"gonum.org/v1/gonum/mat"
)

// mostShared bounds the sources among which shares are averaged over all
// orders: beyond it, what each adds last is scaled to what all explain.
const mostShared = 10

// shares splits the reduction of the generalised sum of squares among the
// sources: the average, over all orders in which they could be brought in, of
// what each adds. Shares are not negative and with the rest sum to one, also
// where sources explain the same.
//
// Source: R. H. Lindeman, P. F. Merenda, R. Z. Gold, Introduction to Bivariate
// and Multivariate Analysis (1980); U. Groemping, American Statistician 61
// (2007) 139; from memory.
func (s *search) shares(q *point, f *Found) {
	k := len(q.es)
	if k == 0 || !(f.ChiSquare > 0) {
		return
	}
	var rows [][]int
	at := 0
	for _, e := range q.es {
		var r []int
		for range e.strengths() {
			r = append(r, at)
			at++
		}
		rows = append(rows, r)
	}
	gain := s.gains(q)
	if k > mostShared {
		s.lastShares(rows, f, gain)
		return
	}
	value := make([]float64, 1<<k)
	for set := range value {
		var cols []int
		for i := range k {
			if set>>i&1 == 1 {
				cols = append(cols, rows[i]...)
			}
		}
		value[set] = gain(cols)
	}
	for i := range k {
		sum := 0.0
		for set := range value {
			if set>>i&1 == 0 {
				sum += (value[set|1<<i] - value[set]) * orders(bits.OnesCount(uint(set)), k)
			}
		}
		f.Sources[i].Share = max(0, sum) / f.ChiSquare
	}
}

// orders returns the fraction of the orders of k things in which a given set of m
// comes first and a given thing right after it.
func orders(m, k int) float64 {
	lg := func(n int) float64 { v, _ := math.Lgamma(float64(n + 1)); return v }
	return math.Exp(lg(m) + lg(k-m-1) - lg(k))
}

func (s *search) lastShares(rows [][]int, f *Found, gain func([]int) float64) {
	var all []int
	for _, r := range rows {
		all = append(all, r...)
	}
	whole, sum := gain(all), 0.0
	for i := range rows {
		var rest []int
		for j, r := range rows {
			if j != i {
				rest = append(rest, r...)
			}
		}
		f.Sources[i].Share = max(0, whole-gain(rest))
		sum += f.Sources[i].Share
	}
	for i := range f.Sources {
		if sum > 0 {
			f.Sources[i].Share *= whole / sum / f.ChiSquare
		}
	}
}

// gains returns the function that gives the reduction of the sum of squares by
// some of the columns.
func (s *search) gains(q *point) func(cols []int) float64 {
	rhs := make([]float64, q.a.Cols)
	for i := range q.a.Rows {
		for j := range rhs {
			rhs[j] += q.a.Data[i*q.a.Stride+j] * s.y[i]
		}
	}
	var held []float64
	for _, e := range q.es {
		for _, sd := range e.strengthsSD {
			held = append(held, 1/(sd*sd))
		}
	}
	return func(cols []int) float64 {
		n := len(cols)
		if n == 0 {
			return 0
		}
		m, b := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
		for i, a := range cols {
			b.SetVec(i, rhs[a])
			for j := i; j < n; j++ {
				m.SetSym(i, j, q.n.At(a, cols[j]))
			}
			// Without the priors, but for what keeps it solvable.
			m.SetSym(i, i, (m.At(i, i)-held[a])*(1+1e-9)+1e-12)
		}
		var chol mat.Cholesky
		var x mat.VecDense
		if !chol.Factorize(m) {
			return 0
		}
		if err := chol.SolveVecTo(&x, b); err != nil && x.Len() != n {
			return 0
		}
		return mat.Dot(b, &x)
	}
}
