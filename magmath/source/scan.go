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
		columns, fields := make([][]r3.Vec, len(s.at)), e.fields()
		for i, at := range s.at {
			columns[i] = fields(nil, at)
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

// blockRoot returns a matrix that whitens reading i alone.
func (p *problem) blockRoot(i int) magmath.Mat3 {
	return inverseRoot(magmath.Block(p.data.Noise, 3*i, 3*i)).Scale(p.w.root[i])
}

// lowerRoot returns L of c = L L^T; zero where c is not positive definite.
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

// inverseRoot returns L^-1 of c = L L^T; zero where c is not positive definite.
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

// normal returns the products with one another, and with what the model leaves, of
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

// gain returns the reduction of the sum of squares by a dipole at a place. With u the
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

// starts returns the most promising places, apart from one another; those that
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

// scanLimit bounds the places that a scan looks at.
const scanLimit = 4000

// Depths and heights of the places that a scan looks at, in spacings under
// the lowest and over the highest reading.
var (
	scanDepths  = []float64{0.2, 0.45, 0.8, 1.4, 2.3}
	scanHeights = []float64{0.3, 0.9, 1.8}
)

// Margins of the box in which an unnamed source is looked for, in spacings.
const (
	marginAside = 1.5
	marginBelow = 3
	marginAbove = 2.5
)

// spacingOf returns the median distance from a reading to the nearest at another
// place; 60 mm where all are at one place.
func spacingOf(at []r3.Vec) float64 {
	var nearest []float64
	for i, p := range at {
		d := math.Inf(1)
		for j, q := range at {
			if v := r3.Norm(r3.Sub(p, q)); i != j && v > 1 {
				d = min(d, v)
			}
		}
		if !math.IsInf(d, 1) {
			nearest = append(nearest, d)
		}
	}
	if len(nearest) == 0 {
		return 60
	}
	slices.Sort(nearest)
	return nearest[len(nearest)/2]
}

// extent returns the box of the readings.
func extent(at []r3.Vec) (low, high r3.Vec) {
	low, high = at[0], at[0]
	for _, p := range at {
		low = r3.Vec{X: min(low.X, p.X), Y: min(low.Y, p.Y), Z: min(low.Z, p.Z)}
		high = r3.Vec{X: max(high.X, p.X), Y: max(high.Y, p.Y), Z: max(high.Z, p.Z)}
	}
	return low, high
}

// box sets where an unnamed source may be.
func (p *problem) box(spacing float64) {
	low, high := extent(p.data.At)
	p.low = r3.Sub(low, r3.Scale(spacing, r3.Vec{X: marginAside, Y: marginAside, Z: marginAbove}))
	p.high = r3.Add(high, r3.Scale(spacing, r3.Vec{X: marginAside, Y: marginAside, Z: marginBelow}))
}

// nodes returns the places that a scan looks at: at several depths and heights a
// grid of two thirds of the spacing, wider far from the readings, where a place need
// not be hit so well, and coarser where that would be too many.
func (p *problem) nodes(spacing float64) []r3.Vec {
	for coarse := 1.0; ; coarse *= 1.1 {
		if out := p.lattice(spacing, coarse); len(out) <= scanLimit {
			return out
		}
	}
}

func (p *problem) lattice(spacing, coarse float64) []r3.Vec {
	low, high := extent(p.data.At)
	var out []r3.Vec
	level := func(z, away float64) {
		if z < p.low.Z {
			return
		}
		step := coarse * max(0.62*spacing, 0.7*away)
		for y := p.low.Y; y <= p.high.Y+1e-9 && len(out) <= scanLimit; y += step {
			for x := p.low.X; x <= p.high.X+1e-9; x += step {
				out = append(out, r3.Vec{X: x, Y: y, Z: z})
			}
		}
	}
	for _, d := range scanDepths {
		level(high.Z+d*spacing, d*spacing)
	}
	for z := high.Z; z > low.Z+spacing/4; z -= spacing / 2 {
		level(z, 0)
	}
	for _, d := range scanHeights {
		level(low.Z-d*spacing, d*spacing)
	}
	return out
}
