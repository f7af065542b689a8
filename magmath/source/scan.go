package source

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// scanner judges places by how much of what a model leaves a dipole there
// would take. Of what the noise of readings has in common it takes out a
// uniform field and leaves the rest aside: good enough to start from.
type scanner struct {
	at    []r3.Vec
	white []magmath.Mat3 // of each reading, given the noise of the others
	basis [][]float64    // orthonormal: what the model can explain already
	r     []float64
	cols  [3][]float64 // room for gain
	share [3][]float64 // likewise: products of those with the basis
}

func (p *problem) scanner(q *point) *scanner {
	s := &scanner{at: p.data.At}
	for i := range s.at {
		s.white = append(s.white, lowerRoot(p.precision[i]).Transpose().Scale(p.w.root[i]))
	}
	if len(s.at) > 3 {
		for _, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			s.add(func(int) r3.Vec { return e })
		}
	}
	for _, e := range q.es {
		columns := make([][]r3.Vec, len(s.at))
		for i, at := range s.at {
			columns[i] = e.columns(e.coords, at)
		}
		for k := range e.strengths() {
			s.add(func(i int) r3.Vec { return columns[i][k] })
		}
	}
	for k := range s.cols {
		s.cols[k], s.share[k] = make([]float64, 3*len(s.at)), make([]float64, len(s.basis))
	}
	s.r = s.column(func(i int) r3.Vec { return p.data.B[i] })
	s.clean(s.r)
	return s
}

// blockRoot is a matrix that whitens reading i alone.
func (p *problem) blockRoot(i int) magmath.Mat3 {
	return inverseRoot(magmath.Block(p.data.Noise, 3*i, 3*i)).Scale(p.w.root[i])
}

// lowerRoot is L of c = L L^T; zero where c is not positive definite.
func lowerRoot(c magmath.Mat3) magmath.Mat3 {
	var l magmath.Mat3
	for i := range 3 {
		for j := range i + 1 {
			v := c[i][j]
			for k := range j {
				v -= l[i][k] * l[j][k]
			}
			if i == j {
				if !(v > 0) {
					return magmath.Mat3{}
				}
				l[i][i] = math.Sqrt(v)
			} else {
				l[i][j] = v / l[j][j]
			}
		}
	}
	return l
}

// inverseRoot is L^-1 of c = L L^T; zero where c is not positive definite.
func inverseRoot(c magmath.Mat3) magmath.Mat3 {
	l := lowerRoot(c)
	var out magmath.Mat3
	if l == out {
		return out
	}
	for j := range 3 {
		out[j][j] = 1 / l[j][j]
		for i := j + 1; i < 3; i++ {
			for k := j; k < i; k++ {
				out[i][j] -= l[i][k] * out[k][j]
			}
			out[i][j] /= l[i][i]
		}
	}
	return out
}

func (s *scanner) column(field func(i int) r3.Vec) []float64 {
	out := make([]float64, 0, 3*len(s.at))
	for i := range s.at {
		v := s.white[i].Apply(field(i))
		out = append(out, v.X, v.Y, v.Z)
	}
	return out
}

func (s *scanner) clean(c []float64) {
	for _, b := range s.basis {
		blas64.Axpy(-dot(b, c), vector(b), vector(c))
	}
}

func (s *scanner) add(field func(i int) r3.Vec) {
	c := s.column(field)
	before := dot(c, c)
	s.clean(c)
	s.clean(c)
	n := dot(c, c)
	if !(n > 1e-12*before) {
		return
	}
	blas64.Scal(1/math.Sqrt(n), vector(c))
	s.basis = append(s.basis, c)
}

// normal are the products with one another, and with what the model leaves, of
// the first k of cols after what the model can explain is taken out of them.
//
// With Q the basis and r what the model leaves, to which Q is orthogonal, the
// products of g - Q Q^T g are g^T h - (Q^T g)^T (Q^T h) and g^T r: no column is
// changed. Source: a projection is symmetric and its own square.
func (s *scanner) normal(k int) (n magmath.Mat3, g [3]float64) {
	for a := range k {
		for i, q := range s.basis {
			s.share[a][i] = dot(q, s.cols[a])
		}
		for b := range a + 1 {
			n[a][b] = dot(s.cols[a], s.cols[b]) - dot(s.share[a], s.share[b])
			n[b][a] = n[a][b]
		}
		g[a] = dot(s.cols[a], s.r)
	}
	return n, g
}

// gain is the reduction of the sum of squares by a dipole at a place. With u the
// unit vector from it to a reading at the distance d its unit fields there are
// the columns of mu0/(4 pi d^3) (3 u u^T - I): see Basis.
func (s *scanner) gain(at r3.Vec) float64 {
	for i, p := range s.at {
		w, r := &s.white[i], r3.Sub(p, at)
		d2 := r3.Norm2(r)
		f := dipoleUT / (d2 * math.Sqrt(d2))
		v := r3.Scale(3*f/d2, w.Apply(r))
		for k, x := range [3]float64{r.X, r.Y, r.Z} {
			c := s.cols[k][3*i : 3*i+3]
			c[0], c[1], c[2] = x*v.X-f*w[0][k], x*v.Y-f*w[1][k], x*v.Z-f*w[2][k]
		}
	}
	n, g := s.normal(3)
	n = n.Add(magmath.Identity().Scale(1 / (momentSD * momentSD)))
	return r3.Norm2(inverseRoot(n).Apply(r3.Vec{X: g[0], Y: g[1], Z: g[2]}))
}

// promising is the part of the gain that a criterion asks for which a place on
// the grid must reach to be climbed from: between two nodes there may be more.
const promising = 0.3

// starts are the most promising places, apart from one another; those that
// cannot be expected to gain what is asked for are left out.
func (s *scanner) starts(nodes []r3.Vec, apart float64, most int, asked float64) []r3.Vec {
	type scored struct {
		at   r3.Vec
		gain float64
	}
	var all []scored
	for _, at := range nodes {
		if !slices.ContainsFunc(s.at, func(q r3.Vec) bool { return r3.Norm(r3.Sub(q, at)) < 2*nearestMM }) {
			if g := s.gain(at); g > promising*asked {
				all = append(all, scored{at, g})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b scored) int { return cmp.Compare(b.gain, a.gain) })
	var out []r3.Vec
	for _, c := range all {
		if len(out) == most {
			break
		}
		if !slices.ContainsFunc(out, func(q r3.Vec) bool { return r3.Norm(r3.Sub(q, c.at)) < apart }) {
			out = append(out, c.at)
		}
	}
	return out
}
