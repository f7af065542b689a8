package source

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Fitted is a source with its uncertainties.
type Fitted struct {
	Kind Kind
	Name string // of the part; empty: found without a name

	AtMM      r3.Vec       // of a dipole; of a lead the middle of its path
	AtCov     magmath.Mat3 // mm^2; of a lead the mean of that of its points
	FromMM    r3.Vec       // where the part was said to be
	MomentAm2 r3.Vec       // of a dipole
	MomentCov magmath.Mat3

	// Of a lead. Current and gap of a pair are told only as their product:
	// with a stated gap the current is that over it, else the gap is the
	// product over the current stated.
	CurrentA, GapMM float64 // gap NaN where the return runs elsewhere
	CurrentSD       float64
	PathMM          []r3.Vec // as fitted

	Share float64 // of the generalised sum of squares; the sources' shares and the rest add up to 1
	P     float64 // of the test that it explains nothing

	// Cov is the joint covariance of the strengths (moment or current), then
	// the coordinates (place, or the points of the path and the gap).
	Cov *mat.SymDense

	e *element
	x []float64
}

// test sets P by the test of Wald: what would be zero if the source explained
// nothing, over its own covariance.
func (c *Fitted) test() {
	n := len(c.e.tell)
	sub, x := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for a, i := range c.e.tell {
		x.SetVec(a, c.value(i))
		for b := a; b < n; b++ {
			sub.SetSym(a, b, c.Cov.At(i, c.e.tell[b]))
		}
	}
	c.P = 1
	var chol mat.Cholesky
	var y mat.VecDense
	if !chol.Factorize(sub) || chol.SolveVecTo(&y, x) != nil {
		return
	}
	c.P = distuv.ChiSquared{K: float64(n)}.Survival(mat.Dot(x, &y))
}

// value returns the estimate whose variance is element i,i of Cov.
func (c *Fitted) value(i int) float64 {
	if i < len(c.x) {
		return c.x[i]
	}
	return c.e.coords[i-len(c.x)]
}

func (c *Fitted) dipole() {
	c.AtMM, c.FromMM, c.MomentAm2 = place(c.e.coords), place(c.e.coordsAt), place(c.x)
	c.MomentCov, c.AtCov = magmath.Block(c.Cov, 0, 0), magmath.Block(c.Cov, 3, 3)
}

func (c *Fitted) lead() {
	c.PathMM = pointsOf(c.e.coords, c.e.points)
	c.AtMM, c.FromMM = middleOf(c.PathMM), middleOf(pointsOf(c.e.coordsAt, c.e.points))
	for k := range c.e.points {
		at := len(c.x) + 3*k
		c.AtCov = c.AtCov.Add(magmath.Block(c.Cov, at, at).Scale(1 / float64(c.e.points)))
	}
	c.CurrentA, c.GapMM, c.CurrentSD = c.x[0], math.NaN(), math.Sqrt(c.Cov.At(0, 0))
	if c.e.returned {
		return
	}
	i, j := c.e.tell[0], c.e.tell[1]
	u, v := c.value(i), c.value(j)
	c.GapMM = math.Hypot(u, v)
	if stated := c.e.gapMM; stated > 0 {
		size := c.GapMM
		if size > 0 {
			u, v = u/size, v/size
		} else {
			u, v = 1, 0
		}
		sd := math.Sqrt(u*u*c.Cov.At(i, i) + 2*u*v*c.Cov.At(i, j) + v*v*c.Cov.At(j, j))
		c.CurrentA, c.CurrentSD, c.GapMM = c.x[0]*size/stated, c.x[0]*sd/stated, stated
	}
}

// middleOf returns the point halfway along a path.
func middleOf(path []r3.Vec) r3.Vec { return along(path, 3)[1] }

// Field returns the source's field at p, microtesla; NaN on the source.
func (c Fitted) Field(p r3.Vec) r3.Vec {
	var b r3.Vec
	for i, u := range c.e.fields()(nil, p) {
		b = r3.Add(b, r3.Scale(c.x[i], u))
	}
	return b
}

// Slopes returns the derivatives of the field at p by the strengths and then the
// coordinates, in the order of Cov.
func (c Fitted) Slopes(p r3.Vec) []r3.Vec {
	return c.e.gradients(c.x)(c.e.fields()(nil, p), p)
}

// fitted describes every element of a model.
func (s *search) fitted(q *point) []Fitted {
	cov, from := s.covariance(q)
	out := make([]Fitted, len(q.es))
	for k, e := range q.es {
		c := Fitted{Kind: e.kind, Name: e.name, e: e, x: slices.Clone(q.strengthsOf(k))}
		n := e.strengths() + len(e.coords)
		c.Cov = mat.NewSymDense(n, nil)
		for i := range n {
			for j := i; j < n; j++ {
				c.Cov.SetSym(i, j, cov.At(from[k][i], from[k][j]))
			}
		}
		c.test()
		if e.kind == KindDipole {
			c.dipole()
		} else {
			c.lead()
		}
		out[k] = c
	}
	return out
}

// covariance returns the covariance of all strengths, then all coordinates, of a
// model: the inverse of the normal matrix, widened by the scale. from[k] are the
// rows of element k, strengths first.
func (s *search) covariance(q *point) (*mat.SymDense, [][]int) {
	v := s.slopes(q)
	m := q.a.Cols
	n := m + v.Cols
	normal := mat.NewSymDense(max(1, n), nil)
	for i := range m {
		for j := i; j < m; j++ {
			normal.SetSym(i, j, q.n.At(i, j))
		}
	}
	raw := normal.RawSymmetric()
	if v.Cols > 0 {
		own := blas64.Symmetric{Uplo: raw.Uplo, N: v.Cols, Stride: raw.Stride, Data: raw.Data[m*raw.Stride+m:]}
		blas64.Syrk(blas.Trans, 1, v, 0, own)
	}
	if v.Cols > 0 && m > 0 {
		cross := blas64.General{Rows: m, Cols: v.Cols, Stride: raw.Stride, Data: raw.Data[m:]}
		blas64.Gemm(blas.Trans, blas.NoTrans, 1, q.a, v, 0, cross)
	}
	from := make([][]int, len(q.es))
	a, c := 0, m
	for k, e := range q.es {
		for range e.strengths() {
			from[k] = append(from[k], a)
			a++
		}
		for i := range e.coords {
			normal.SetSym(c, c, normal.At(c, c)+1/(e.coordsSD[i]*e.coordsSD[i])+1e-9)
			from[k] = append(from[k], c)
			c++
		}
	}
	cov := mat.NewSymDense(max(1, n), nil)
	var chol mat.Cholesky
	if n == 0 || !chol.Factorize(normal) {
		return cov, from
	}
	_ = chol.InverseTo(cov) // an ill-conditioned one is still the best there is
	cov.ScaleSym(s.scale(q), cov)
	return cov, from
}

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

// rowsOf returns the rows that tell whether an element explains anything.
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

// correlation returns the largest canonical correlation of two sets of rows.
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

// whitening returns L^-1 of the covariance of some rows; nil where there is none.
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
