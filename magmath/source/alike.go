package source

import (
	"gonum.org/v1/gonum/mat"
)

// Alike is a pair of sources, by index, that share what they explain.
type Alike struct {
	I, J int
	// Correlation of the best-correlated combination of their strengths.
	Correlation float64
	// SamePlace says that their places differ by less than their uncertainty.
	SamePlace bool
}

// Two sources are hardly told apart when some combination of their strengths
// is correlated beyond alikeCorrelation, or when their places differ by less
// than the 0.95 quantile of chi-square with three degrees of freedom.
const (
	alikeCorrelation = 0.95
	alikePlace       = 7.815
)

func (s *search) alike(q *point) []Alike {
	cov, from := s.covariance(q)
	var out []Alike
	for i := range q.es {
		for j := range i {
			a := Alike{I: j, J: i, Correlation: correlation(cov, rowsOf(from[j], q.es[j]), rowsOf(from[i], q.es[i]))}
			a.SamePlace = q.es[i].kind == KindDipole && q.es[j].kind == KindDipole && samePlace(q, cov, from, j, i)
			if a.Correlation > alikeCorrelation || a.SamePlace {
				out = append(out, a)
			}
		}
	}
	return out
}

// rowsOf are the rows that tell whether an element explains anything.
func rowsOf(from []int, e *element) []int {
	out := make([]int, len(e.tell))
	for i, k := range e.tell {
		out[i] = from[k]
	}
	return out
}

func samePlace(q *point, cov *mat.SymDense, from [][]int, i, j int) bool {
	a, b := from[i][q.es[i].strengths():], from[j][q.es[j].strengths():]
	c, d := mat.NewSymDense(3, nil), mat.NewVecDense(3, nil)
	for r := range 3 {
		d.SetVec(r, q.es[i].coords[r]-q.es[j].coords[r])
		for k := r; k < 3; k++ {
			c.SetSym(r, k, cov.At(a[r], a[k])+cov.At(b[r], b[k])-cov.At(a[r], b[k])-cov.At(b[r], a[k]))
		}
	}
	var chol mat.Cholesky
	var x mat.VecDense
	if !chol.Factorize(c) || chol.SolveVecTo(&x, d) != nil {
		return false
	}
	return mat.Dot(d, &x) < alikePlace
}

// correlation is the largest canonical correlation of two sets of rows.
func correlation(cov *mat.SymDense, a, b []int) float64 {
	ra, rb := whitening(cov, a), whitening(cov, b)
	if ra == nil || rb == nil {
		return 0
	}
	cross := mat.NewDense(len(a), len(b), nil)
	for i, r := range a {
		for j, c := range b {
			cross.Set(i, j, cov.At(r, c))
		}
	}
	var half, whole mat.Dense
	half.Mul(ra, cross)
	whole.Mul(&half, rb.T())
	var svd mat.SVD
	if !svd.Factorize(&whole, mat.SVDNone) {
		return 0
	}
	return min(1, svd.Values(nil)[0])
}

// whitening is L^-1 of the covariance of some rows; nil where there is none.
func whitening(cov *mat.SymDense, rows []int) *mat.TriDense {
	c := mat.NewSymDense(len(rows), nil)
	for i, r := range rows {
		for j := i; j < len(rows); j++ {
			c.SetSym(i, j, cov.At(r, rows[j]))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(c) {
		return nil
	}
	var l, inv mat.TriDense
	chol.LTo(&l)
	if err := inv.InverseTri(&l); err != nil {
		return nil
	}
	return &inv
}
