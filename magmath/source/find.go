package source

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Found is what a search found.
type Found struct {
	Sources []Fitted // those that explain something, named ones first, in the order given
	Nothing []Fitted // named parts that do not
	Alike   []Alike  // pairs of Sources that the readings cannot tell apart

	ChiSquare   float64   // generalised sum of squares of the readings
	Left        float64   // what the sources leave of it
	Freedom     float64   // components less parameters
	Scale       float64   // factor, at least 1, by which covariances were widened because the sources fit worse than the noise
	Unexplained float64   // 0..1 of what is there beyond noise; 0 where nothing is
	Quiet       bool      // the readings are within their noise: there is nothing to explain
	Weights     []float64 // of the readings; 1: taken in full
	Lone        []int     // readings left out because nothing near them agrees
	LeftOut     LeftOut   // check by leaving each reading out

	all whole
}

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
	PairAmm          [2]float64 // current times gap, level to the right of the path and across
	CurrentA, GapMM  float64    // gap NaN where the return runs elsewhere
	CurrentSD, GapSD float64    // gap 0 where stated
	PathMM           []r3.Vec   // as fitted

	Share     float64 // of the generalised sum of squares, the sources' shares and the rest add up to 1
	ChiSquare float64 // test that it explains nothing
	Freedom   int
	P         float64

	// Cov is the joint covariance of the strengths (moment or current), then
	// the coordinates (place, or the points of the path and the gap).
	Cov *mat.SymDense

	e *element
	x []float64
}

// Alike is a pair of sources, by index, that share what they explain.
type Alike struct {
	I, J int
	// Correlation of the best-correlated combination of their strengths.
	Correlation float64
	// SamePlace says that their places differ by less than their uncertainty.
	SamePlace bool
}

// significance is the probability under which a named part must explain
// nothing before it is listed among the sources.
const significance = 0.01

// Find explains readings by the parts named, each tried at its place, and as
// many unnamed dipoles, and leads where asked for, as the readings call for. It fails with ErrNoReadings,
// ErrShape, ErrNotFinite (wrapped) or ErrSingular.
//
// Moments enter linearly, places not; a new dipole is started from the best
// places of a grid about the readings, its number chosen by an information
// criterion, readings that contradict all others are widened, and every
// covariance is that of the linearised fit. Named magnets have a normal prior
// about their place. A dipole that one reading alone speaks for is not taken
// for one: that reading is left out and listed in Lone.
func Find(d Readings, magnets []Magnet, leads []NamedLead, o Options) (*Found, error) {
	s, err := newSearch(d, o)
	if err != nil {
		return nil, err
	}
	var es []*element
	for _, m := range magnets {
		es = append(es, m.element())
	}
	for _, l := range leads {
		if len(l.PathMM) > 1 {
			es = append(es, l.element())
		}
	}
	q := s.polish(s.prune(s.grow(s.climb(s.at(es), allSteps))))
	f := &Found{}
	q = s.leaveOut(q, f)
	s.describe(q, f)
	return f, nil
}

// leaveOut takes the named parts that explain nothing out of the model, the
// least significant first.
func (s *search) leaveOut(q *point, f *Found) *point {
	for {
		all := s.fitted(q)
		worst := -1
		for i, c := range all {
			if c.Name != "" && !(c.P < significance) && (worst < 0 || c.P > all[worst].P) {
				worst = i
			}
		}
		if worst < 0 {
			return q
		}
		f.Nothing = append(f.Nothing, all[worst])
		q = s.climb(s.at(slices.Delete(slices.Clone(q.es), worst, worst+1)), allSteps)
	}
}

func (s *search) describe(q *point, f *Found) {
	f.Sources = s.fitted(q)
	f.ChiSquare, f.Left = dot(s.y, s.y), q.fit
	f.Freedom, f.Scale = s.freedom(q), s.scale(q)
	f.Lone = s.lone
	for _, r := range s.w.root {
		f.Weights = append(f.Weights, r*r)
	}
	f.all, f.LeftOut = s.whole(q), s.leaveOneOut(q)
	s.shares(q, f)
	n := float64(s.size() - 3*len(s.lone))
	f.Quiet = len(f.Sources) == 0 && distuv.ChiSquared{K: n}.Survival(f.ChiSquare) > significance
	if signal := f.ChiSquare - n; !f.Quiet && signal > 0 {
		f.Unexplained = min(1, max(0, f.Left-f.Freedom)/signal)
	}
	f.Alike = s.alike(q, f)
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

// covariance is that of all strengths, then all coordinates, of a model:
// the inverse of the normal matrix, widened by the scale. from[k] are the rows
// of element k, strengths first.
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
	column := func(g []float64, stride, cols, k int) func(int) float64 {
		return func(r int) float64 { return g[r*stride+k] }
	}
	for j := range v.Cols {
		b := column(v.Data, v.Stride, v.Cols, j)
		for i := range m {
			normal.SetSym(i, m+j, inner(column(q.a.Data, q.a.Stride, m, i), b, v.Rows))
		}
		for i := range j + 1 {
			normal.SetSym(m+i, m+j, inner(column(v.Data, v.Stride, v.Cols, i), b, v.Rows))
		}
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

func inner(a, b func(int) float64, n int) float64 {
	sum := 0.0
	for r := range n {
		sum += a(r) * b(r)
	}
	return sum
}

// test is that of Wald: what would be zero if the source explained nothing,
// over its own covariance.
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
	c.ChiSquare, c.Freedom = mat.Dot(x, &y), n
	c.P = distuv.ChiSquared{K: float64(n)}.Survival(c.ChiSquare)
}

// value is that of row i of Cov.
func (c *Fitted) value(i int) float64 {
	if i < len(c.x) {
		return c.x[i]
	}
	return c.e.coords[i-len(c.x)]
}

func (c *Fitted) block(from int) magmath.Mat3 {
	var m magmath.Mat3
	for i := range 3 {
		for j := range 3 {
			m[i][j] = c.Cov.At(from+i, from+j)
		}
	}
	return m
}

func (c *Fitted) dipole() {
	c.AtMM, c.FromMM, c.MomentAm2 = place(c.e.coords), place(c.e.coordsAt), place(c.x)
	c.MomentCov, c.AtCov = c.block(0), c.block(3)
}

func (c *Fitted) lead() {
	c.PathMM = pointsOf(c.e.coords, c.e.points)
	c.AtMM, c.FromMM = middleOf(c.PathMM), middleOf(pointsOf(c.e.coordsAt, c.e.points))
	for k := range c.e.points {
		c.AtCov = c.AtCov.Add(c.block(len(c.x) + 3*k).Scale(1 / float64(c.e.points)))
	}
	c.GapMM, c.GapSD, c.CurrentSD = math.NaN(), math.NaN(), math.NaN()
	c.CurrentA = c.x[0]
	if c.e.returned {
		c.CurrentSD = math.Sqrt(c.Cov.At(0, 0))
		return
	}
	i, j := c.e.tell[0], c.e.tell[1]
	u, v := c.value(i), c.value(j)
	size := math.Hypot(u, v)
	c.PairAmm = [2]float64{c.x[0] * u, c.x[0] * v}
	if size > 0 {
		u, v = u/size, v/size
	} else {
		u, v = 1, 0
	}
	c.GapMM = size
	c.GapSD = math.Sqrt(u*u*c.Cov.At(i, i) + 2*u*v*c.Cov.At(i, j) + v*v*c.Cov.At(j, j))
	if c.e.gapMM > 0 {
		c.CurrentA = c.x[0] * size / c.e.gapMM
		c.CurrentSD = c.x[0] * c.GapSD / c.e.gapMM
		c.GapMM = c.e.gapMM
		c.GapSD = 0
		return
	}
	c.CurrentSD = math.Sqrt(c.Cov.At(0, 0))
}

// middleOf is the point halfway along a path.
func middleOf(path []r3.Vec) r3.Vec {
	total := 0.0
	for i := 1; i < len(path); i++ {
		total += r3.Norm(r3.Sub(path[i], path[i-1]))
	}
	left := total / 2
	for i := 1; i < len(path); i++ {
		d := r3.Sub(path[i], path[i-1])
		n := r3.Norm(d)
		if left <= n && n > 0 {
			return r3.Add(path[i-1], r3.Scale(left/n, d))
		}
		left -= n
	}
	return path[0]
}

// Field is the source's field at p, microtesla; NaN on it.
func (c Fitted) Field(p r3.Vec) r3.Vec {
	var b r3.Vec
	for i, u := range c.e.columns(c.e.coords, p) {
		b = r3.Add(b, r3.Scale(c.x[i], u))
	}
	return b
}

// Slopes are the derivatives of the field at p by what Cov is the covariance
// of.
func (c Fitted) Slopes(p r3.Vec) []r3.Vec {
	out := c.e.columns(c.e.coords, p)
	if c.e.slopes != nil {
		out = append(out, c.e.slopes(c.e.coords, c.x, p)...)
	}
	return out
}
