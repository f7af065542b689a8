package source

import (
	"context"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// problem is what every model is fitted to.
type problem struct {
	ctx       context.Context // of the one search that it belongs to; climbs end with it
	data      magmath.Readings
	w         *whitener
	y         []float64      // whitened
	precision []magmath.Mat3 // of each reading given the noise of all others, before weights
	low, high r3.Vec         // where an unnamed source may be
	deck      float64        // z under which sources lie that are not said to lie above it

	// Whitened unit fields of elements that are fixed, which many models share.
	kept map[*element]blas64.General
}

func newProblem(ctx context.Context, d magmath.Readings) (*problem, error) {
	var chol mat.Cholesky
	if !chol.Factorize(d.Noise) {
		return nil, magmath.ErrSingular
	}
	inv := mat.NewSymDense(d.Noise.SymmetricDim(), nil)
	_ = chol.InverseTo(inv) // an ill-conditioned one is good enough to scan with
	p := &problem{ctx: ctx, deck: math.Inf(-1), data: d, w: newWhitener(&chol)}
	for i := range d.At {
		p.precision = append(p.precision, magmath.Block(inv, 3*i, 3*i))
	}
	p.rewhiten()
	return p, nil
}

// rewhiten takes over changed weights.
func (p *problem) rewhiten() {
	p.y = make([]float64, 0, 3*len(p.data.B))
	for _, b := range p.data.B {
		p.y = append(p.y, b.X, b.Y, b.Z)
	}
	p.w.apply(blas64.General{Rows: len(p.y), Cols: 1, Stride: 1, Data: p.y})
	p.kept = map[*element]blas64.General{}
}

// size returns the number of components.
func (p *problem) size() int { return len(p.y) }

// point is a model at given coordinates with its best strengths.
//
// The cost is |y - A x|^2 + |D (x - x0)|^2 + |T (c - c0)|^2: A whitened unit
// fields at coordinates c, the rest the normal priors. For given c the
// strengths x are a linear least squares problem, so that only c is searched.
//
// Source: G. H. Golub, V. Pereyra, SIAM J. Numer. Anal. 10 (1973) 413, for the
// projected residual; L. Kaufman, BIT 15 (1975) 49, for the shorter form of
// its Jacobian used by slope and curve.
type point struct {
	es   []*element
	x    []float64      // strengths, element after element
	a    blas64.General // whitened
	r    []float64      // whitened residual
	cost float64        // +Inf: no strengths solve the model here
	fit  float64        // |r|^2
	n    *mat.SymDense  // A^T A + D^2
	chol mat.Cholesky
}

// at computes the best strengths of a model, its residual and its cost.
func (p *problem) at(es []*element) *point {
	q := &point{es: es, cost: math.Inf(1)}
	cols := 0
	for _, e := range es {
		cols += e.strengths()
	}
	q.a = blas64.General{Rows: p.size(), Cols: cols, Stride: max(1, cols), Data: make([]float64, p.size()*max(1, cols))}
	from := 0
	for _, e := range es {
		own := p.fields(e)
		for r := range own.Rows {
			copy(q.a.Data[r*q.a.Stride+from:], own.Data[r*own.Stride:][:own.Cols])
		}
		from += own.Cols
	}
	q.r = append([]float64(nil), p.y...)
	if cols == 0 {
		q.fit = dot(q.r, q.r)
		q.cost = q.fit
		return q
	}
	if !q.solve(p) {
		return q
	}
	blas64.Gemv(blas.NoTrans, -1, q.a, vector(q.x), 1, vector(q.r))
	q.fit = dot(q.r, q.r)
	q.cost = q.fit + q.prior()
	if math.IsNaN(q.cost) {
		q.cost = math.Inf(1)
	}
	return q
}

// fields returns the whitened unit fields of an element.
func (p *problem) fields(e *element) blas64.General {
	m, ok := p.kept[e]
	if !ok {
		m = p.matrix(e.strengths(), e.fields())
		if e.fixed {
			p.kept[e] = m
		}
	}
	return m
}

// matrix whitens some fields at the readings, cols in all. A field without a
// value, of a source right at the reading, counts as none: that reading says
// nothing of it.
func (p *problem) matrix(cols int, fields ...vectors) blas64.General {
	m := blas64.General{Rows: 3 * len(p.data.At), Cols: cols, Stride: max(1, cols)}
	m.Data = make([]float64, m.Rows*m.Stride)
	var here []r3.Vec
	for i, at := range p.data.At {
		here = here[:0]
		for _, f := range fields {
			here = f(here, at)
		}
		for k, v := range here {
			if magmath.FiniteVec(v) {
				m.Data[3*i*m.Stride+k], m.Data[(3*i+1)*m.Stride+k], m.Data[(3*i+2)*m.Stride+k] = v.X, v.Y, v.Z
			}
		}
	}
	p.w.apply(m)
	return m
}

// solve finds the strengths; false where the fields are too large or too much
// alike for them to be told.
func (q *point) solve(p *problem) bool {
	cols := q.a.Cols
	q.n = mat.NewSymDense(cols, nil)
	blas64.Syrk(blas.Trans, 1, q.a, 0, q.n.RawSymmetric())
	rhs := mat.NewVecDense(cols, nil)
	blas64.Gemv(blas.Trans, 1, q.a, vector(p.y), 0, rhs.RawVector())
	k := 0
	for _, e := range q.es {
		for i, sd := range e.strengthsSD {
			v := 1 / (sd * sd)
			q.n.SetSym(k, k, q.n.At(k, k)+v)
			rhs.SetVec(k, rhs.AtVec(k)+v*e.strengthsAt[i])
			k++
		}
	}
	if !finite(q.n) || !q.chol.Factorize(q.n) {
		return false
	}
	var x mat.VecDense
	if err := q.chol.SolveVecTo(&x, rhs); err != nil && x.Len() != cols {
		return false
	}
	q.x = x.RawVector().Data
	return true
}

func finite(s *mat.SymDense) bool {
	n := s.SymmetricDim()
	for i := range n {
		for j := i; j < n; j++ {
			if v := s.At(i, j); v-v != 0 {
				return false
			}
		}
	}
	return true
}

// prior returns the priors' share of the cost.
func (q *point) prior() float64 {
	sum, k := 0.0, 0
	for _, e := range q.es {
		for i, sd := range e.strengthsSD {
			d := (q.x[k] - e.strengthsAt[i]) / sd
			sum += d * d
			k++
		}
		for i, c := range e.coords {
			d := (c - e.coordsAt[i]) / e.coordsSD[i]
			sum += d * d
		}
	}
	return sum
}

// strengthsOf returns the strengths of element k.
func (q *point) strengthsOf(k int) []float64 {
	from := 0
	for _, e := range q.es[:k] {
		from += e.strengths()
	}
	return q.x[from : from+q.es[k].strengths()]
}

// slopes returns the whitened derivatives of the field by the movable coordinates.
func (p *problem) slopes(q *point) blas64.General {
	cols := 0
	var gradients []vectors
	for k, e := range q.es {
		if e.movable() > 0 {
			cols += e.movable()
			gradients = append(gradients, e.gradients(q.strengthsOf(k)))
		}
	}
	return p.matrix(cols, gradients...)
}

func vector(x []float64) blas64.Vector { return blas64.Vector{N: len(x), Data: x, Inc: 1} }

func dot(a, b []float64) float64 { return blas64.Dot(vector(a), vector(b)) }

// whitener turns columns of three rows a reading into ones whose noise is
// independent and of variance one: L^-1 W^1/2 c with L L^T the noise. A
// reading of weight w thus has its noise, own and shared, larger by w^-1/2.
type whitener struct {
	lower blas64.Triangular
	first []int     // of each row of lower, the first element that is not zero
	root  []float64 // the square roots of the weights, one a reading
}

func newWhitener(chol *mat.Cholesky) *whitener {
	var l mat.TriDense
	chol.LTo(&l)
	w := &whitener{lower: l.RawTriangular()}
	for r := range w.lower.N {
		k := 0
		for k < r && w.lower.Data[r*w.lower.Stride+k] == 0 {
			k++
		}
		w.first = append(w.first, k)
		if r%3 == 0 {
			w.root = append(w.root, 1)
		}
	}
	return w
}

// apply whitens the columns of m in place. Independent readings, which are
// common, cost next to nothing: what is zero in lower is skipped.
func (w *whitener) apply(m blas64.General) {
	x := make([]float64, m.Rows)
	for c := range m.Cols {
		for r, from := range w.first {
			row := w.lower.Data[r*w.lower.Stride:]
			x[r] = (w.root[r/3]*m.Data[r*m.Stride+c] - dot(row[from:r], x[from:r])) / row[r]
			m.Data[r*m.Stride+c] = x[r]
		}
	}
}
