package fieldmap

import (
	"context"
	"slices"
	"strings"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Map is the posterior of the field given the readings. It is immutable and
// may be used by several goroutines.
type Map struct {
	Kernel  Kernel
	Sources []Source // explicit fields added to the kernel's, with their estimated LogSD

	data   magmath.Readings
	known  features
	times  []float64         // posterior means of the multiples of its fields
	fields blas64.General    // known.scaled, for the stations
	room   *mat.SymDense     // holds upper
	upper  blas64.Triangular // U of the readings' covariance C = U^T U
	alpha  *mat.VecDense
	kernel func(p, q r3.Vec) magmath.Mat3 // Kernel.K, made ready
	moved  func(p r3.Vec) r3.Vec          // posterior mean of the source mean; nil: known.at and times have it
	left   *LeftOut                       // nil: not worked out yet
}

// Condition returns the map for a kernel, and optional sources, with given
// hyperparameters. The error is that of magmath.Readings, magmath.ErrSingular,
// or that of ctx.
func Condition(ctx context.Context, d magmath.Readings, k Kernel, sources ...Source) (*Map, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	return condition(ctx, d, k, featuresOf(nil, sources, d.At), mat.NewSymDense(3*len(d.At), nil))
}

// condition is Condition with given features, for readings that were checked. The
// map keeps room, for the factor of their covariance.
func condition(ctx context.Context, d magmath.Readings, k Kernel, known features, room *mat.SymDense) (*Map, error) {
	m := &Map{Kernel: k, Sources: known.sources, data: d, known: known, fields: known.scaled(), room: room, kernel: ready(k)}
	var err error
	if m.upper, err = factorized(d.At, d.Noise, k, known, room); err != nil {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	m.alpha = solved(m.upper, stack(d.Less(known.mean)))
	m.times = known.multiples(m.alpha)
	m.moved = known.sourceMean.moved(m.times[:known.count[0]])
	return m, nil
}

// Stations returns the number of readings behind the map.
func (m *Map) Stations() int { return len(m.data.At) }

// At returns the posterior mean and covariance of the field at p.
func (m *Map) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	mean, cov := m.Predict([]r3.Vec{p})
	return mean[0], cov[0]
}

// Mean returns the posterior mean at p, microtesla, at much less cost than At.
func (m *Map) Mean(p r3.Vec) r3.Vec {
	b := m.explicit(p)
	a := m.alpha.RawVector().Data
	for i, q := range m.data.At {
		b = r3.Add(b, m.kernel(p, q).Apply(r3.Vec{X: a[3*i], Y: a[3*i+1], Z: a[3*i+2]}))
	}
	return b
}

// explicit returns the posterior mean at p of the source mean and of the sources.
func (m *Map) explicit(p r3.Vec) r3.Vec {
	known, times, b := m.known, m.times, r3.Vec{}
	if m.moved != nil {
		b, known.sourceMean, times = m.moved(p), nil, times[known.count[0]:]
	}
	rest, fields := known.at(p, nil)
	b = r3.Add(b, rest)
	for k, v := range fields {
		b = r3.Add(b, r3.Scale(times[k], v))
	}
	return b
}

// Name returns the assumed covariance in words.
func (m *Map) Name() string {
	var name strings.Builder
	name.WriteString(m.Kernel.Name())
	if m.HasSourceMean() {
		name.WriteString(" + " + m.known.sourceMean.Name)
	}
	for _, s := range m.Sources {
		name.WriteString(" + " + s.Name)
	}
	return name.String()
}

// Gradient returns the derivative of the posterior mean at p, uT per mm, by
// central differences of a millimetre: element i,j is the change of B_i along j.
func (m *Map) Gradient(p r3.Vec) magmath.Mat3 {
	var g magmath.Mat3
	for j, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		d := r3.Scale(0.5, r3.Sub(m.Mean(r3.Add(p, e)), m.Mean(r3.Sub(p, e))))
		g[0][j], g[1][j], g[2][j] = d.X, d.Y, d.Z
	}
	return g
}

// batch is the number of points solved for at once.
const batch = 64

// Predict is At for many points, by blocks of triangular solves.
func (m *Map) Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	mean, cov := make([]r3.Vec, len(points)), make([]magmath.Mat3, len(points))
	for from := 0; from < len(points); from += batch {
		some := points[from:min(from+batch, len(points))]
		own := cov[from : from+len(some)]
		f, v := m.whitened(some, mean[from:])
		for i, p := range some {
			own[i] = m.kernel(p, p)
		}
		addGrams(own, f, 1)
		addGrams(own, v, -1)
		for i := range own {
			own[i] = tidy(own[i])
		}
	}
	return mean, cov
}

// addGrams adds to each c[i] the products with one another of columns 3i to 3i+2
// of v, times sign.
func addGrams(c []magmath.Mat3, v blas64.General, sign float64) {
	for r := range v.Rows {
		row := v.Data[r*v.Stride : r*v.Stride+v.Cols]
		for i := range c {
			x, y, z := row[3*i], row[3*i+1], row[3*i+2]
			sx, sy := sign*x, sign*y
			m := &c[i]
			m[0][0] += sx * x
			m[0][1] += sx * y
			m[0][2] += sx * z
			m[1][1] += sy * y
			m[1][2] += sy * z
			m[2][2] += sign * z * z
		}
	}
	for i := range c {
		c[i][1][0], c[i][2][0], c[i][2][1] = c[i][0][1], c[i][0][2], c[i][1][2]
	}
}

// whitened returns the fields of the features at the points, scaled as those at
// the stations, and U^-T k for the points' covariances k with the readings: three
// columns a point. It fills in the means as well.
func (m *Map) whitened(points []r3.Vec, mean []r3.Vec) (fields, k blas64.General) {
	n, cols := 3*len(m.data.At), 3*len(points)
	fields = blas64.General{Rows: m.fields.Rows, Cols: cols, Stride: cols, Data: make([]float64, m.fields.Rows*cols)}
	k = blas64.General{Rows: n, Cols: cols, Stride: cols, Data: make([]float64, n*cols)}
	sd := m.known.sds()
	for i, p := range points {
		var own []r3.Vec
		mean[i], own = m.known.at(p, nil)
		for j, v := range own {
			row := fields.Data[j*cols+3*i:][:3]
			row[0], row[1], row[2] = sd[j]*v.X, sd[j]*v.Y, sd[j]*v.Z
		}
	}
	if fields.Rows > 0 {
		blas64.Gemm(blas.Trans, blas.NoTrans, 1, m.fields, fields, 0, k)
	}
	for j, q := range m.data.At {
		for i, p := range points {
			c := m.kernel(p, q)
			for r := range 3 {
				row := k.Data[(3*j+r)*cols+3*i:][:3]
				row[0] += c[0][r]
				row[1] += c[1][r]
				row[2] += c[2][r]
			}
		}
	}
	own := blas64.Vector{N: cols, Data: make([]float64, cols), Inc: 1}
	blas64.Gemv(blas.Trans, 1, k, m.alpha.RawVector(), 0, own)
	for i := range points {
		mean[i] = r3.Add(mean[i], r3.Vec{X: own.Data[3*i], Y: own.Data[3*i+1], Z: own.Data[3*i+2]})
	}
	blas64.Trsm(blas.Left, blas.Trans, 1, m.upper, k)
	return fields, k
}

// tidy makes c symmetric and raises variances that rounding made negative.
func tidy(c magmath.Mat3) magmath.Mat3 {
	c = c.Add(c.Transpose()).Scale(0.5)
	for i := range 3 {
		c[i][i] = max(c[i][i], 1e-12)
	}
	return c
}

// Joint returns the joint posterior at the points: means and a covariance of
// three rows per point, nil for no points. It suits hundreds of points.
func (m *Map) Joint(points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	if len(points) == 0 {
		return nil, nil
	}
	mean := make([]r3.Vec, len(points))
	fields, v := m.whitened(points, mean)
	cov := mat.NewSymDense(3*len(points), nil)
	for i, p := range points {
		for j := i; j < len(points); j++ {
			magmath.AddBlock(cov, 3*i, 3*j, m.kernel(p, points[j]))
		}
	}
	if fields.Rows > 0 {
		blas64.Syrk(blas.Trans, 1, fields, 1, cov.RawSymmetric())
	}
	blas64.Syrk(blas.Trans, -1, v, 1, cov.RawSymmetric())
	for i := range 3 * len(points) {
		cov.SetSym(i, i, max(cov.At(i, i), 1e-12))
	}
	return mean, cov
}

// After returns the posterior of the field after a change of the source mean or
// of the sources since the readings, such as the removal of a magnet. sourceMean
// is the new one, of as many parameters; fields[i] returns the new unit fields of
// Sources[i], in equal number and order; nil leaves either unchanged. The
// strengths of the sources and the field of the kernel keep their posterior from
// the readings, so that the uncertainty of a source moves with it. Readings and
// LeaveOneOut do not change.
//
// With F and G the unit fields before and after, S the variances of their
// multiples and K the kernel, the covariance of the field at p afterwards with
// a reading at q is G(p) S F(q)^T + K(p,q). Source: conditional of a joint
// normal distribution, Rasmussen and Williams (2006), eq. A.6.
func (m *Map) After(sourceMean *SourceMean, fields ...func(p r3.Vec) []r3.Vec) *Map {
	out := *m
	if sourceMean != nil {
		out.known.sourceMean = sourceMean
		out.moved = sourceMean.moved(m.times[:m.known.count[0]])
	}
	out.Sources = slices.Clone(m.Sources)
	for i, f := range fields {
		if f != nil {
			out.Sources[i].Fields = f
		}
	}
	out.known.sources = out.Sources
	return &out
}

// HasSourceMean reports whether the map has a source mean.
func (m *Map) HasSourceMean() bool { return m.known.sourceMean != nil }

// Readings returns the readings behind the map. They are not a copy: do not
// modify them.
func (m *Map) Readings() magmath.Readings { return m.data }

// stack returns the vectors as one column.
func stack(b []r3.Vec) *mat.VecDense {
	v := mat.NewVecDense(3*len(b), nil)
	for i, x := range b {
		v.SetVec(3*i, x.X)
		v.SetVec(3*i+1, x.Y)
		v.SetVec(3*i+2, x.Z)
	}
	return v
}
