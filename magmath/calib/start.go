package calib

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// begin scales the readings and makes the first fit, with nine parameters under
// a wide prior; it reports whether there is one.
func (w *work) begin(ctx context.Context, o Options) bool {
	centre, radius := startSphere(ctx, w.data.x)
	if !(radius > 0) {
		return false
	}
	w.o = o.normal(radius)
	w.res.Prior = w.o.Prior
	w.k, w.x = 1, slices.Clone(w.data.x)
	w.shape(radius)
	if ratio := radius / w.o.ReferenceUT; ratio < 1/farOff || ratio > farOff {
		if c, ok := w.asStated(ctx, centre); ok {
			w.flat, w.radius = w.flat*radius/w.o.ReferenceUT, w.o.ReferenceUT
			centre, radius = c, w.o.ReferenceUT
		} else {
			w.rescale(1 / ratio)
		}
	}
	w.prior = w.o.priorVariances()
	w.wary = w.prior
	w.basep = problem{x: w.x, target: w.o.ReferenceUT, prior: wide(w.o), loss: huber(), rounds: 6}
	ok := w.fitBase(ctx, r3.Scale(w.k, centre), radius*w.k)
	if !ok {
		return false
	}
	w.res.Ratio = 1 / (w.k * math.Cbrt(w.base.matrix().Det()))
	if w.o.Scale == FromEither {
		o.Scale = FromReference
		if w.disagrees(ctx) {
			o.Scale = FromProbe
		}
		w.o = o.normal(radius)
		w.prior = w.o.priorVariances()
		w.wary = w.prior
	}
	w.res.Scale = w.o.Scale
	if !(o.ReferenceUT > 0) {
		w.res.Ratio = 0
	}
	return true
}

// farOff is the ratio to the reference from which on the readings are scaled
// before the fit.
const farOff = 1.4

// asStated fits a sphere of the reference's strength to a thin band of readings,
// whose curvature carries little information on the strength. ok reports whether
// the band is thin and the sphere fits.
func (w *work) asStated(ctx context.Context, centre r3.Vec) (r3.Vec, bool) {
	if w.flat > 0.3 {
		return centre, false
	}
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 6}
	best := math.Inf(1)
	out := centre
	mean := magmath.MedianVec(w.x)
	for _, side := range [3]r3.Vec{centre, r3.Add(mean, r3.Scale(w.o.ReferenceUT/2, w.thin)), r3.Sub(mean, r3.Scale(w.o.ReferenceUT/2, w.thin))} {
		if f, ok := p.solve(ctx, side, nil); ok && f.s < best {
			best, out = f.s, f.o
		}
	}
	return out, best < noisy*w.o.ReferenceUT
}

// rescale multiplies the readings by k.
func (w *work) rescale(k float64) {
	w.k = k
	for i, v := range w.data.x {
		w.x[i] = r3.Scale(k, v)
	}
	w.radius *= k
}

// disagrees reports whether the strength in the probe's own units differs from
// the reference by more than gains explain. The strength is that of a sphere;
// its uncertainty includes the shapes that a sphere leaves out.
func (w *work) disagrees(ctx context.Context) bool {
	if w.k != 1 {
		return true
	}
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 6}
	f, ok := p.solve(ctx, w.base.o, w.base.e[:1])
	if !ok {
		return false
	}
	noise, leftOut, ok := designOf(w.base, w.x, w.base.s*w.base.s, w.prior).errorsOf(4)
	if !ok {
		return false
	}
	sd := math.Sqrt((noise.At(3, 3) + leftOut.At(3, 3)) / 3)
	return math.Abs(math.Log(1+f.e[0]/math.Sqrt(3))) > agreement+2*sd
}

// wide returns the prior of the first fit, which only has to be stable: three
// times the stated one, and any strength within a quarter.
func wide(o Options) []float64 {
	out := make([]float64, nShapes)
	for j, v := range o.priorVariances() {
		out[j] = 3 * math.Sqrt(v)
	}
	out[0] = max(out[0], 0.4)
	return out
}

// shape finds the axis along which the readings vary least.
func (w *work) shape(radius float64) {
	mean := r3.Vec{}
	for _, v := range w.x {
		mean = r3.Add(mean, r3.Scale(1/float64(len(w.x)), v))
	}
	sym := mat.NewSymDense(3, nil)
	for _, v := range w.x {
		d := r3.Sub(v, mean)
		// Without outliers, which would make a flat turn look round.
		if l := r3.Norm(d); l > 3*radius {
			continue
		}
		sym.SymRankOne(sym, 1/float64(len(w.x)), mat.NewVecDense(3, []float64{d.X, d.Y, d.Z}))
	}
	var eig mat.EigenSym
	if !eig.Factorize(sym, true) {
		return
	}
	var q mat.Dense
	eig.VectorsTo(&q)
	w.thin = r3.Vec{X: q.At(0, 0), Y: q.At(1, 0), Z: q.At(2, 0)}
	w.flat, w.radius = math.Sqrt(max(eig.Values(nil)[0], 0))/radius, radius
}

// fitBase fits from every plausible start and keeps the fit of least cost.
func (w *work) fitBase(ctx context.Context, centre r3.Vec, radius float64) bool {
	type start struct {
		o r3.Vec
		e []float64
	}
	starts := []start{{centre, weightsOf(magmath.Identity().Scale(w.o.ReferenceUT / radius))}}
	if o, e, ok := startEllipsoid(w.x, centre, radius); ok {
		m := matrixOf(e).Scale(w.o.ReferenceUT / radius)
		if allowed(m) {
			starts = append(starts, start{o, weightsOf(m)})
		}
	}
	if w.flat < flattish {
		starts = append(starts, start{w.mirrored(centre), starts[0].e})
	}
	for i, s := range starts {
		if i == 1 && w.base != nil && w.base.s < 0.02*w.o.ReferenceUT && w.flat >= flattish {
			continue // the fit from the sphere is good: the ellipsoid leads to the same one
		}
		f, ok := w.basep.solve(ctx, s.o, s.e)
		if ok && (w.base == nil || math.Log(f.s/w.base.s)*float64(len(w.x))+(f.cost-w.base.cost)/2 < 0) {
			w.base = f
		}
	}
	return w.base != nil
}

// flattish is the relative thickness of a band of readings below which a fit may
// have found its mirror image: a full sphere has 0.58, half a sphere 0.29.
const flattish = 0.25

// mirrored returns the offset on the other side of the band of readings.
func (w *work) mirrored(o r3.Vec) r3.Vec {
	var along []float64
	for _, v := range w.x {
		along = append(along, r3.Dot(r3.Sub(v, o), w.thin))
	}
	return r3.Add(o, r3.Scale(2*median(along), w.thin))
}

// gram holds the moments of (|x|^2, x, 1) about a fixed point.
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

// quiet returns the moments without the mean contribution of noise of standard
// deviation s on each axis, which biases an algebraic fit.
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

// sphere returns the algebraic fit |x|^2 - 2 c.x = R^2 - |c|^2; ok is false where
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

// startSphere returns a sphere near most of the vectors: repeated algebraic fits,
// each to the 85 % of the vectors nearest to the one before, so that outliers do
// not count, with the bias of the noise removed.
//
// Source: concentration steps after Rousseeuw and Van Driessen 2006, Data
// Mining and Knowledge Discovery 12, 29 (from memory).
func startSphere(ctx context.Context, x []r3.Vec) (centre r3.Vec, radius float64) {
	middle := magmath.MedianVec(x)
	best := math.Inf(1)
	for _, first := range [2]float64{math.Inf(1), 0} {
		c, r, spread := concentrate(ctx, x, middle, first)
		if spread < best {
			best, centre, radius = spread, c, r
		}
	}
	return centre, radius
}

// concentrate repeats the fit from the vectors within limit of a sphere about
// middle; a limit of 0 stands for the 85 % nearest to a sphere of the median
// distance. spread is the 85 % quantile of the distances from the sphere.
func concentrate(ctx context.Context, x []r3.Vec, middle r3.Vec, limit float64) (c r3.Vec, r, spread float64) {
	d := make([]float64, len(x))
	c, r = middle, 0
	off := func() []float64 {
		for i, v := range x {
			d[i] = math.Abs(r3.Norm(r3.Sub(v, c)) - r)
		}
		return d
	}
	if limit == 0 { // begin with the vectors nearest to the median distance from the middle
		off()
		r = median(append([]float64{}, d...))
		limit = magmath.Quantile(append([]float64{}, off()...), 0.85)
	}
	off()
	for range 8 {
		if ctx.Err() != nil {
			break
		}
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

// startEllipsoid returns offset and weights of the shapes of the algebraic fit
// d^T A d + b.d + c = 0, tr A = 3, to vectors d about a centre in units of the
// radius; ok is false where it is no ellipsoid or M would not be allowed.
func startEllipsoid(x []r3.Vec, centre r3.Vec, radius float64) (o r3.Vec, e []float64, ok bool) {
	rows := make([]float64, 0, 9*len(x))
	rhs := make([]float64, 0, len(x))
	for _, v := range x {
		d := r3.Scale(1/radius, r3.Sub(v, centre))
		if n := r3.Norm(d); n < 0.5 || n > 1.5 {
			continue // an outlier
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

// ellipsoidShape returns the offset, and the weights of the square root of A, of
// the ellipsoid d^T A d + b.d + c = 0.
func ellipsoidShape(a magmath.Mat3, b r3.Vec, c float64, centre r3.Vec, radius float64) (o r3.Vec, e []float64, ok bool) {
	var eig mat.EigenSym
	if !eig.Factorize(a.Sym(), true) {
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

// weightsOf returns the inverse of matrixOf.
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
