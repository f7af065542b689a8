package source

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// mostUT stands for a field that has no value, on a source.
const mostUT = 1e6

// whole is all of a model: its elements with the joint covariance of their
// strengths and coordinates.
type whole struct {
	es  []*element
	x   [][]float64
	cov *mat.SymDense
	row []int // of the slopes, element after element, strengths first

	fields, gradients []func(p r3.Vec) []r3.Vec // of each element
}

func (s *search) whole(q *point) whole {
	w := whole{es: q.es}
	cov, from := s.covariance(q)
	w.cov = cov
	for k := range q.es {
		w.x = append(w.x, append([]float64(nil), q.strengthsOf(k)...))
		w.row = append(w.row, from[k]...)
		w.fields = append(w.fields, q.es[k].fields())
		w.gradients = append(w.gradients, q.es[k].gradients(w.x[k]))
	}
	return w
}

// at is the field at p and its derivatives in the order of row; no derivatives
// on a source.
func (w whole) at(p r3.Vec) (r3.Vec, []r3.Vec) {
	var b r3.Vec
	slopes := make([]r3.Vec, 0, len(w.row))
	for k := range w.es {
		own, some := w.of(k, p)
		if some == nil {
			return own, nil
		}
		b, slopes = r3.Add(b, own), append(slopes, some...)
	}
	if r3.Norm(b) > mostUT {
		return r3.Vec{X: mostUT}, nil
	}
	return b, slopes
}

// of is at for element k alone.
func (w whole) of(k int, p r3.Vec) (r3.Vec, []r3.Vec) {
	var b r3.Vec
	slopes := w.fields[k](p)
	for i, u := range slopes {
		b = r3.Add(b, r3.Scale(w.x[k][i], u))
	}
	slopes = append(slopes, w.gradients[k](p)...)
	if !magmath.FiniteVec(b) || r3.Norm(b) > mostUT || !allFinite(slopes) {
		return r3.Vec{X: mostUT}, nil
	}
	return b, slopes
}

func allFinite(vs []r3.Vec) bool {
	return !slices.ContainsFunc(vs, func(v r3.Vec) bool { return !magmath.FiniteVec(v) })
}

// At is the field of all sources together at p, microtesla, with its
// covariance by the linearised fit. What the sources do not explain is not in
// it.
func (f *Found) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	mean, cov := f.Predict([]r3.Vec{p})
	return mean[0], cov[0]
}

// Predict is At for many places.
func (f *Found) Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	mean, cov := make([]r3.Vec, len(points)), make([]magmath.Mat3, len(points))
	for i, p := range points {
		b, s := f.all.at(p)
		mean[i] = b
		for a, u := range s {
			var v r3.Vec // sum over the columns of the covariance
			for c, w := range s {
				v = r3.Add(v, r3.Scale(f.all.cov.At(f.all.row[a], f.all.row[c]), w))
			}
			cov[i] = cov[i].Add(magmath.Outer(u, v))
		}
	}
	return mean, cov
}

// Joint is the joint distribution at the points: three rows a point. Nil for
// no points.
func (f *Found) Joint(points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	if len(points) == 0 {
		return nil, nil
	}
	mean, cov := make([]r3.Vec, len(points)), mat.NewSymDense(3*len(points), nil)
	n := len(f.all.row)
	if n == 0 {
		return mean, cov
	}
	j := mat.NewDense(3*len(points), n, nil)
	for i, p := range points {
		b, s := f.all.at(p)
		mean[i] = b
		for a, u := range s {
			j.Set(3*i, f.all.row[a], u.X)
			j.Set(3*i+1, f.all.row[a], u.Y)
			j.Set(3*i+2, f.all.row[a], u.Z)
		}
	}
	var half, full mat.Dense
	half.Mul(j, f.all.cov)
	full.Mul(&half, j.T())
	for a := range 3 * len(points) {
		for b := a; b < 3*len(points); b++ {
			cov.SetSym(a, b, (full.At(a, b)+full.At(b, a))/2)
		}
	}
	return mean, cov
}

// LeftOut is the check of the sources by leaving each reading out in turn.
type LeftOut struct {
	RMSEUT           float64 // root mean square a component, noise included
	Inside95Fraction float64 // of the components inside their 95 % interval
	LogDensity       float64 // sum of the log densities of the left-out readings
}

// leaveOneOut is that check in closed form for the linearised fit: with C the
// covariance of the readings, J the derivatives by all parameters and D their
// prior's precision, Q = C^-1 - C^-1 J (J^T C^-1 J + D)^-1 J^T C^-1, the
// residual of the left-out block i is (Q_ii)^-1 [C^-1 r]_i and its covariance
// (Q_ii)^-1. The number of sources stays as found.
//
// Source: block matrix inversion, as for Gaussian processes in C. E.
// Rasmussen, C. K. I. Williams (2006), eq. 5.10 to 5.12.
func (s *search) leaveOneOut(q *point) LeftOut {
	scale := s.scale(q)
	n := s.size()
	v := s.slopes(q)
	half := mat.NewDense(n, n, nil) // L^-1 W^1/2
	for i := range n {
		half.Set(i, i, 1)
	}
	s.w.apply(half.RawMatrix())
	r := mat.NewVecDense(n, nil)
	r.MulVec(half.T(), mat.NewVecDense(n, q.r))
	m := q.a.Cols + v.Cols
	j := mat.NewDense(n, max(1, m), nil)
	for i := range n {
		copy(j.RawRowView(i), q.a.Data[i*q.a.Stride:i*q.a.Stride+q.a.Cols])
		copy(j.RawRowView(i)[q.a.Cols:], v.Data[i*v.Stride:i*v.Stride+v.Cols])
	}
	var projected mat.Dense // C^-1 J
	projected.Mul(half.T(), j)
	cov, _ := s.covariance(q) // scale times the inverse in Q
	out, sum, inside, count := LeftOut{}, 0.0, 0.0, 0.0
	for i := range len(s.data.At) {
		var block magmath.Mat3
		for a := range 3 {
			for b := range 3 {
				block[a][b] = mat.Dot(half.ColView(3*i+a), half.ColView(3*i+b)) - quadratic(&projected, cov, 3*i+a, 3*i+b)/scale
			}
		}
		res, c, logDet, ok := solveBlock(block.Scale(1/scale), r3.Scale(1/scale, r3.Vec{X: r.AtVec(3 * i), Y: r.AtVec(3*i + 1), Z: r.AtVec(3*i + 2)}))
		if !ok {
			return LeftOut{math.NaN(), math.NaN(), math.Inf(-1)}
		}
		u := r3.Vec{X: r.AtVec(3*i) / scale, Y: r.AtVec(3*i+1) / scale, Z: r.AtVec(3*i+2) / scale}
		out.LogDensity -= 0.5 * (r3.Dot(u, res) - logDet + 3*math.Log(2*math.Pi))
		for a, x := range []float64{res.X, res.Y, res.Z} {
			sum += x * x
			count++
			if math.Abs(x) < 1.959964*math.Sqrt(c[a][a]) {
				inside++
			}
		}
	}
	out.RMSEUT, out.Inside95Fraction = math.Sqrt(sum/count), inside/count
	return out
}

// quadratic is row i of m times c times row j.
func quadratic(m *mat.Dense, c *mat.SymDense, i, j int) float64 {
	n := c.SymmetricDim()
	y := make([]float64, n)
	blas64.Symv(1, c.RawSymmetric(), blas64.Vector{N: n, Data: m.RawRowView(j), Inc: 1}, 0, blas64.Vector{N: n, Data: y, Inc: 1})
	return dot(m.RawRowView(i), y)
}

// solveBlock is b^-1 u, b^-1 and the log determinant of b.
func solveBlock(b magmath.Mat3, u r3.Vec) (r3.Vec, magmath.Mat3, float64, bool) {
	w := inverseRoot(b.Add(b.Transpose()).Scale(0.5))
	if w == (magmath.Mat3{}) {
		return r3.Vec{}, w, 0, false
	}
	inv := w.Transpose().Mul(w)
	return inv.Apply(u), inv, -2 * math.Log(w[0][0]*w[1][1]*w[2][2]), true
}
