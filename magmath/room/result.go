package room

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Solve estimates all unknowns of the observations at once; an observation's
// Station is an index into stations. The errors are ErrEmpty, ErrNotFinite
// (wrapped), that of a covariance that is not positive definite, and that of ctx
// after its end. The result keeps obs and stations.
func Solve(ctx context.Context, obs []Observation, stations []Station, o Options) (*Result, error) {
	p, err := newProblem(obs, stations, o.OffsetUT)
	if err != nil {
		return nil, err
	}
	r := &Result{p: p, Hyper: o.hyper()}
	if o.Fixed {
		r.s, err = p.solve(r.Hyper)
	} else {
		r.Hyper, r.s, err = p.tune(ctx, r.Hyper)
	}
	if err := cmp.Or(err, ctx.Err()); err != nil {
		return nil, err
	}
	if err := r.s.finish(); err != nil {
		return nil, err
	}
	return r, nil
}

// Result is the joint posterior.
type Result struct {
	Hyper Hyper // as estimated, or as given
	p     *problem
	s     *solution
}

// LogDensity returns the logarithm of the density of all captures under Hyper, the
// unknowns integrated out: for the comparison of scales.
func (r *Result) LogDensity() float64 { return r.s.logDens }

// Estimate is a vector with its covariance.
type Estimate struct {
	Mean r3.Vec
	Cov  magmath.Mat3
}

// Key identifies an unknown of a station: what the craft adds (Load NoLoad) or
// what a load adds at level 1.
type Key struct {
	Station, Load int
}

// Craft returns what the unpowered craft adds at a station; false if no capture
// depends on it. Without a background in the room it is hardly determined, and
// its covariance is large.
func (r *Result) Craft(station int) (Estimate, bool) { return r.one(Key{station, NoLoad}) }

// Load returns what a load adds at level 1; false if no capture depends on it.
// A load captured at one level only, and never off, is hardly determined, and its
// covariance is large.
func (r *Result) Load(station, load int) (Estimate, bool) { return r.one(Key{station, load}) }

func (r *Result) one(k Key) (Estimate, bool) {
	if _, ok := r.rows(k); !ok {
		return Estimate{}, false
	}
	mean, cov := r.Joint([]Key{k})
	return Estimate{Mean: mean[0], Cov: magmath.Block(cov, 0, 0)}, true
}

// rows returns the index of k's first unknown among its station's.
func (r *Result) rows(k Key) (int, bool) {
	if k.Station < 0 || k.Station >= len(r.p.lay.parts) {
		return 0, false
	}
	for i, q := range r.p.lay.parts[k.Station] {
		if q != partRough && int(q) == k.Load {
			return 3 * i, true
		}
	}
	return 0, false
}

// Joint returns the joint posterior of the unknowns: means and a covariance of
// three rows per key, which includes the common errors: the room, the drift, the
// base station's own disturbance. Keys that no capture depends on get mean zero
// and the wide prior's variance. The covariance of no keys is nil.
func (r *Result) Joint(keys []Key) ([]r3.Vec, *mat.SymDense) {
	n := 3 * len(keys)
	if n == 0 {
		return nil, nil
	}
	mean, cov := make([]r3.Vec, len(keys)), mat.NewSymDense(n, nil)
	links := mat.NewDense(n, max(1, r.p.lay.globals), nil)
	for i, k := range keys {
		row, ok := r.rows(k)
		if !ok {
			for c := range 3 {
				cov.SetSym(3*i+c, 3*i+c, WidePriorUT*WidePriorUT)
			}
			continue
		}
		b := r.s.blocks[k.Station]
		mean[i] = vec(b.own, row)
		if b.link != nil {
			for c := range 3 {
				copy(links.RawRowView(3*i+c), b.link.RawRowView(row+c))
			}
			mean[i] = r3.Sub(mean[i], r.shared(b.link, row))
		}
	}
	if r.s.mean != nil {
		// With V^T V the information on the shared unknowns, the covariance of
		// links x is (links V^-1) (links V^-1)^T.
		v := r.s.chol.RawU().(mat.RawTriangular).RawTriangular()
		blas64.Trsm(blas.Right, blas.NoTrans, 1, v, links.RawMatrix())
		blas64.Syrk(blas.NoTrans, 1, links.RawMatrix(), 1, cov.RawSymmetric())
	}
	r.addOwn(cov, keys)
	return mean, cov
}

// addOwn adds the covariance within a station given the shared unknowns.
func (r *Result) addOwn(cov *mat.SymDense, keys []Key) {
	at := map[int][]int{}
	for i, k := range keys {
		at[k.Station] = append(at[k.Station], i)
	}
	for _, station := range slices.Sorted(maps.Keys(at)) {
		for _, i := range at[station] {
			for _, j := range at[station] {
				ri, oki := r.rows(keys[i])
				rj, okj := r.rows(keys[j])
				if !oki || !okj || j < i {
					continue
				}
				magmath.AddBlock(cov, 3*i, 3*j, magmath.Block(r.s.blocks[station].inv, ri, rj))
			}
		}
	}
}

func (r *Result) shared(link *mat.Dense, row int) r3.Vec {
	var v [3]float64
	for c := range 3 {
		v[c] = mat.Dot(link.RowView(row+c), r.s.mean)
	}
	return r3.Vec{X: v[0], Y: v[1], Z: v[2]}
}

func vec(v *mat.VecDense, i int) r3.Vec {
	return r3.Vec{X: v.AtVec(i), Y: v.AtVec(i + 1), Z: v.AtVec(i + 2)}
}

// Field returns the smooth room field at a place with its covariance; false for a
// room without captures. Drift is counted from the mean of the runs' offsets.
func (r *Result) Field(room int, at r3.Vec) (Estimate, bool) {
	if _, ok := r.p.lay.rooms[room]; !ok {
		return Estimate{}, false
	}
	return r.combine(r.p.lay.roomAt(room, at)), true
}

// Gradient returns the room's gradient, uT per mm: element i,j is the change of
// B_i along j.
func (r *Result) Gradient(room int) magmath.Mat3 {
	k, ok := r.p.lay.rooms[room]
	if !ok {
		return magmath.Mat3{}
	}
	var g magmath.Mat3
	for axis, d := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		for i, v := range gradientColumns(d) {
			f := r.s.mean.AtVec(k+3+i) / gradientUnitMM
			g[0][axis] += f * v.X
			g[1][axis] += f * v.Y
			g[2][axis] += f * v.Z
		}
	}
	return g
}

// Drift returns the drift of a run at a time on its clock, with its covariance;
// false for a run without captures.
func (r *Result) Drift(run int, ts float64) (Estimate, bool) {
	if _, ok := r.p.lay.runs[run]; !ok {
		return Estimate{}, false
	}
	return r.combine(r.p.lay.driftAt(run, ts)), true
}

// combine returns the posterior of a linear combination of shared unknowns.
func (r *Result) combine(cols []column) Estimate {
	var e Estimate
	for _, a := range cols {
		e.Mean = r3.Add(e.Mean, r3.Scale(r.s.mean.AtVec(a.index), a.v))
		for _, b := range cols {
			e.Cov = e.Cov.Add(magmath.Outer(a.v, b.v).Scale(r.s.cov.At(a.index, b.index)))
		}
	}
	return e
}

// Residual returns the residual of observation i, and its size in
// standard deviations: the root mean square over the whitened components.
// It is zero for a capture alone at its station.
func (r *Result) Residual(i int) (r3.Vec, float64) {
	o := r.p.obs[i]
	fit := r3.Vec{}
	for _, c := range r.p.global[i] {
		fit = r3.Add(fit, r3.Scale(r.s.mean.AtVec(c.index), c.v))
	}
	b := r.s.blocks[o.Station]
	for _, c := range r.p.local[i] {
		x := b.own.AtVec(c.index)
		if b.link != nil {
			x -= mat.Dot(b.link.RowView(c.index), r.s.mean)
		}
		fit = r3.Add(fit, r3.Scale(x, c.v))
	}
	d := r3.Sub(o.B, fit)
	w, _, ok := invert(o.Noise(r.Hyper))
	if !ok {
		return d, math.NaN()
	}
	return d, math.Sqrt(r3.Dot(d, w.Apply(d)) / 3)
}

// Test is a chi-square test.
type Test struct {
	ChiSquare float64
	Freedom   int
	P         float64 // probability of a value at least as large if all is well; NaN: not tested
}

// Background tests whether the captures without the craft in a room fit a
// smooth room: a uniform field and a harmonic gradient with its prior, drift
// included, no roughness. With no more than one capture there is nothing to
// test: Freedom is 0 and P is NaN. If the smooth room cannot be solved for, P is
// NaN and the error wraps the cause.
func (r *Result) Background(room int) (Test, error) {
	var some []Observation
	for _, o := range r.p.obs {
		if o.Room == room && !o.Craft && !o.Pulsed {
			some = append(some, o)
		}
	}
	t := Test{P: math.NaN(), Freedom: max(0, 3*len(some)-3)}
	if t.Freedom == 0 {
		return t, nil
	}
	p, err := newProblem(some, r.p.stations, r.p.offsets)
	if err != nil {
		return t, fmt.Errorf("solve for a smooth room: %w", err)
	}
	h := r.Hyper
	h.RoughUT = 1e-3
	s, err := p.solve(h)
	if err != nil {
		return t, fmt.Errorf("solve for a smooth room: %w", err)
	}
	if math.IsNaN(s.quadForm) {
		return t, fmt.Errorf("solve for a smooth room: %w", errSingular)
	}
	t.ChiSquare = s.quadForm
	t.P = distuv.ChiSquared{K: float64(t.Freedom)}.Survival(t.ChiSquare)
	return t, nil
}
