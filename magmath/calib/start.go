package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// gram gathers the moments of (|x|^2, x, 1) about a fixed point.
type gram struct {
	about r3.Vec
	n     float64
	m     [5][5]float64
}

func (g *gram) add(x r3.Vec) {
	d := r3.Sub(x, g.about)
	z := [5]float64{r3.Norm2(d), d.X, d.Y, d.Z, 1}
	for i := range 5 {
		for j := i; j < 5; j++ {
			g.m[i][j] += z[i] * z[j]
		}
	}
	g.n++
}

// quiet takes the mean of what noise of standard deviation s an axis adds to
// the moments out of them: an algebraic fit is biased by it.
//
// Source: Kukush, Markovsky and Van Huffel 2004, Computational Statistics and
// Data Analysis 47, 123 (adjusted least squares, from memory); for a sphere
// E|x|^4, E|x|^2 x and E x x^T of x + noise are corrected by 10 s^2 |x|^2 + 15
// s^4, 5 s^2 x and s^2.
func (g gram) quiet(s float64) gram {
	v := s * s
	clean := g.m[0][4] - 3*v*g.n // sum of |x|^2
	g.m[0][0] -= 10*v*clean + 15*v*v*g.n
	g.m[0][4] = clean
	for k := 1; k < 4; k++ {
		g.m[0][k] -= 5 * v * g.m[k][4]
		g.m[k][k] -= v * g.n
	}
	return g
}

// sphere is the algebraic fit |x|^2 - 2 c.x = R^2 - |c|^2; ok is false where
// the readings do not span space.
func (g gram) sphere() (centre r3.Vec, radius float64, ok bool) {
	a := mat.NewSymDense(4, nil)
	b := mat.NewVecDense(4, nil)
	for i := 1; i < 5; i++ {
		for j := i; j < 5; j++ {
			a.SetSym(i-1, j-1, g.m[i][j])
		}
		b.SetVec(i-1, g.m[0][i])
	}
	var c mat.Cholesky
	if !c.Factorize(a) || c.Cond() > 1e12 {
		return r3.Vec{}, 0, false
	}
	var t mat.VecDense
	if err := c.SolveVecTo(&t, b); err != nil {
		return r3.Vec{}, 0, false
	}
	d := r3.Scale(0.5, r3.Vec{X: t.AtVec(0), Y: t.AtVec(1), Z: t.AtVec(2)})
	r2 := t.AtVec(3) + r3.Norm2(d)
	if !(r2 > 0) || !magmath.FiniteVec(d) {
		return r3.Vec{}, 0, false
	}
	return r3.Add(g.about, d), math.Sqrt(r2), true
}

// startSphere is a sphere near most of the vectors: algebraic fits to the 85 %
// nearest to the last one, so that wild readings have no say, finished with
// the bias of the noise taken out.
//
// Source: concentration steps after Rousseeuw and Van Driessen 2006, Data
// Mining and Knowledge Discovery 12, 29 (from memory).
func startSphere(x []r3.Vec) (centre r3.Vec, radius float64) {
	middle := magmath.MedianVec(x)
	best := math.Inf(1)
	for _, first := range [2]float64{math.Inf(1), 0} {
		c, r, spread := concentrate(x, middle, first)
		if spread < best {
			best, centre, radius = spread, c, r
		}
	}
	return centre, radius
}

func concentrate(x []r3.Vec, middle r3.Vec, limit float64) (c r3.Vec, r, spread float64) {
	d := make([]float64, len(x))
	c, r = middle, 0
	off := func() []float64 {
		for i, v := range x {
			d[i] = math.Abs(r3.Norm(r3.Sub(v, c)) - r)
		}
		return d
	}
	if limit == 0 { // begin with what is nearest to the middle's median distance
		off()
		r = median(append([]float64{}, d...))
		limit = magmath.Quantile(append([]float64{}, off()...), 0.85)
	}
	off()
	for range 8 {
		g := gram{about: middle}
		for i, v := range x {
			if d[i] <= limit {
				g.add(v)
			}
		}
		centre, radius, ok := g.sphere()
		if !ok {
			break
		}
		if s := limit / 1.44 / max(radius, 1e-9); s < 0.1 { // 85 % of Gaussian noise
			if cc, rr, ok := g.quiet(limit / 1.44).sphere(); ok {
				centre, radius = cc, rr
			}
		}
		c, r = centre, radius
		limit = magmath.Quantile(append([]float64{}, off()...), 0.85)
	}
	if r == 0 {
		off()
		r = median(append([]float64{}, d...))
	}
	return c, r, magmath.Quantile(append([]float64{}, off()...), 0.85)
}

// startEllipsoid is the algebraic fit of x^T A x + b.x + c = 0 with tr A = 3
// to vectors d about a centre, in units of the radius. It returns the offset
// and the weights of the shapes; ok is false where it is no ellipsoid or one
// beyond bounds.
func startEllipsoid(x []r3.Vec, centre r3.Vec, radius float64) (o r3.Vec, e []float64, ok bool) {
	rows := make([]float64, 0, 9*len(x))
	rhs := make([]float64, 0, len(x))
	for _, v := range x {
		d := r3.Scale(1/radius, r3.Sub(v, centre))
		if n := r3.Norm(d); n < 0.5 || n > 1.5 {
			continue // wild
		}
		rows = append(rows, d.X*d.X-d.Z*d.Z, d.Y*d.Y-d.Z*d.Z, 2*d.X*d.Y, 2*d.X*d.Z, 2*d.Y*d.Z, d.X, d.Y, d.Z, 1)
		rhs = append(rhs, -3*d.Z*d.Z)
	}
	if len(rhs) < 20 {
		return o, nil, false
	}
	var t mat.VecDense
	if err := t.SolveVec(mat.NewDense(len(rhs), 9, rows), mat.NewVecDense(len(rhs), rhs)); err != nil {
		return o, nil, false
	}
	v := t.RawVector().Data
	a := magmath.Mat3{{v[0], v[2], v[3]}, {v[2], v[1], v[4]}, {v[3], v[4], 3 - v[0] - v[1]}}
	return ellipsoidShape(a, r3.Vec{X: v[5], Y: v[6], Z: v[7]}, v[8], centre, radius)
}

// ellipsoidShape turns x^T A x + b.x + c = 0 into offset and square root.
func ellipsoidShape(a magmath.Mat3, b r3.Vec, c float64, centre r3.Vec, radius float64) (o r3.Vec, e []float64, ok bool) {
	var eig mat.EigenSym
	sym := mat.NewSymDense(3, []float64{a[0][0], a[0][1], a[0][2], a[1][0], a[1][1], a[1][2], a[2][0], a[2][1], a[2][2]})
	if !eig.Factorize(sym, true) {
		return o, nil, false
	}
	values := eig.Values(nil)
	if values[0] <= 0 {
		return o, nil, false
	}
	var q mat.Dense
	eig.VectorsTo(&q)
	var inverse, root magmath.Mat3
	for k, l := range values {
		axis := r3.Vec{X: q.At(0, k), Y: q.At(1, k), Z: q.At(2, k)}
		inverse = inverse.Add(magmath.Outer(axis, axis).Scale(1 / l))
		root = root.Add(magmath.Outer(axis, axis).Scale(math.Sqrt(l)))
	}
	d := r3.Scale(-0.5, inverse.Apply(b))
	k := r3.Dot(d, a.Apply(d)) - c // (x-d)^T A (x-d) = k
	if !(k > 0) {
		return o, nil, false
	}
	m := root.Scale(1 / math.Sqrt(k))
	if !allowed(m) || r3.Norm(d) > 1 {
		return o, nil, false
	}
	return r3.Add(centre, r3.Scale(radius, d)), weightsOf(m), true
}

// weightsOf is what matrixOf undoes.
func weightsOf(m magmath.Mat3) []float64 {
	e := make([]float64, nShapes)
	d := m.Add(magmath.Identity().Scale(-1))
	for j, b := range shapes {
		for i := range 3 {
			for k := range 3 {
				e[j] += b[i][k] * d[i][k]
			}
		}
	}
	return e
}
