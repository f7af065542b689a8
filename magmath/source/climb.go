package source

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// nearestMM is how near to a reading an unnamed source may be fitted: closer
// than that the sensor's own size matters more than the fit.
const nearestMM = 2

// climb improves the movable coordinates of a model by the method of
// Levenberg and Marquardt until a step changes the cost by less than a
// thousandth, at most steps times.
//
// Source: D. W. Marquardt, J. Soc. Indust. Appl. Math. 11 (1963) 431.
func (p *problem) climb(q *point, steps int) *point {
	damp := 1e-2
	for range steps {
		if math.IsInf(q.cost, 1) || p.ctx.Err() != nil {
			return q
		}
		slope, curve := p.downhill(q)
		if len(slope) == 0 {
			return q
		}
		gain := 0.0
		for range 8 {
			next := p.step(q, slope, curve, damp)
			if next != nil && next.cost < q.cost {
				gain, q = q.cost-next.cost, next
				damp = max(1e-9, damp/5)
				break
			}
			damp *= 4
		}
		if gain < 1e-3 {
			return q
		}
	}
	return q
}

// downhill returns half the negative gradient of the cost by the movable
// coordinates, and half its approximate second derivative.
func (p *problem) downhill(q *point) ([]float64, *mat.SymDense) {
	v := p.slopes(q)
	if v.Cols == 0 {
		return nil, nil
	}
	slope := make([]float64, v.Cols)
	blas64.Gemv(blas.Trans, 1, v, vector(q.r), 0, vector(slope))
	curve := mat.NewSymDense(v.Cols, nil)
	blas64.Syrk(blas.Trans, 1, v, 0, curve.RawSymmetric())
	cross := mat.NewDense(q.a.Cols, v.Cols, nil)
	blas64.Gemm(blas.Trans, blas.NoTrans, 1, q.a, v, 0, cross.RawMatrix())
	var solved mat.Dense
	if err := q.chol.SolveTo(&solved, cross); err != nil && solved.IsEmpty() {
		return nil, nil
	}
	var less mat.Dense
	less.Mul(cross.T(), &solved)
	for i := range v.Cols {
		for j := i; j < v.Cols; j++ {
			curve.SetSym(i, j, curve.At(i, j)-less.At(i, j))
		}
	}
	k := 0
	for _, e := range q.es {
		for i := range e.movable() {
			t := 1 / (e.coordsSD[i] * e.coordsSD[i])
			slope[k] -= t * (e.coords[i] - e.coordsAt[i])
			curve.SetSym(k, k, curve.At(k, k)+t)
			k++
		}
	}
	return slope, curve
}

// step returns the model after one damped step; nil where there is none.
func (p *problem) step(q *point, slope []float64, curve *mat.SymDense, damp float64) *point {
	n := len(slope)
	c := mat.NewSymDense(n, nil)
	c.CopySym(curve)
	for i := range n {
		c.SetSym(i, i, c.At(i, i)*(1+damp)+1e-9)
	}
	var chol mat.Cholesky
	var d mat.VecDense
	if !finite(c) || !chol.Factorize(c) {
		return nil
	}
	if err := chol.SolveVecTo(&d, mat.NewVecDense(n, slope)); err != nil && d.Len() != n {
		return nil
	}
	es, k := make([]*element, len(q.es)), 0
	for i, e := range q.es {
		es[i] = e
		if e.movable() == 0 {
			continue
		}
		es[i] = e.clone()
		for j := range e.coords {
			es[i].coords[j] += d.AtVec(k)
			k++
		}
		if !p.hold(es[i]) {
			return nil
		}
	}
	return p.at(es)
}

// straySD is how far a named part may stray from its place, in standard
// deviations: farther off it is another thing.
const straySD = 2.5

// hold keeps an unnamed source in the box and a named one about its place;
// false where it has come too near to a reading.
func (p *problem) hold(e *element) bool {
	low, high := [3]float64{p.low.X, p.low.Y, p.low.Z}, [3]float64{p.high.X, p.high.Y, p.high.Z}
	for i := range e.coords {
		from, to := low[i%3], high[i%3]
		if sd := e.coordsSD[i]; !math.IsInf(sd, 1) {
			from, to = e.coordsAt[i]-straySD*sd, e.coordsAt[i]+straySD*sd
		}
		if i%3 == 2 && i < 3*max(1, e.points) && e.coordsAt[i] > p.deck {
			from = max(from, p.deck)
		}
		e.coords[i] = min(to, max(from, e.coords[i]))
	}
	if e.kind != KindDipole {
		path := pointsOf(e.coords, e.points)
		for _, q := range p.data.At {
			if distanceTo(path, q) < nearestMM {
				return false
			}
		}
		return true
	}
	at := place(e.coords)
	for _, q := range p.data.At {
		if length(r3.Sub(q, at)) < nearestMM {
			return false
		}
	}
	return true
}
