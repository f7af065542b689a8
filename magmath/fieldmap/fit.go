package fieldmap

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/lapack/lapack64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Candidate is a kernel to try, with log-normal priors on its
// hyperparameters: centres are the kernel's own, Spread the standard
// deviations of the logarithms.
type Candidate struct {
	Kernel     Kernel
	Sources    []Source    // explicit fields besides the kernel's
	SourceMean *SourceMean // the field that kernel and sources depart from; nil for zero
	Spread     []float64   // of the kernel's hyperparameters, then of each source's
	// Starts are further starting points for the climb, besides the centres.
	Starts [][]float64
}

// params returns all hyperparameters: the kernel's, then the sources'.
func (c Candidate) params() []float64 {
	p := slices.Clone(c.Kernel.Params())
	for _, s := range c.Sources {
		p = append(p, s.LogSD)
	}
	return p
}

// sourceSpread is the prior's standard deviation of the logarithm of a
// source's strength.
const sourceSpread = 1.5

// WithSources returns the candidates, followed by each of them again with the
// sources added; only the candidates if there are no sources.
func WithSources(cs []Candidate, sources []Source) []Candidate {
	if len(sources) == 0 {
		return cs
	}
	out := slices.Clone(cs)
	for _, c := range cs {
		c.Sources, c.Starts = sources, nil
		c.Spread = slices.Clone(c.Spread)
		for range sources {
			c.Spread = append(c.Spread, sourceSpread)
		}
		out = append(out, c)
	}
	return out
}

// Candidates returns the covariances that Fit tries on data whose stations lie
// about spacingMM apart. lowestZMM is the greatest z (downwards) at which the
// field was measured or will be predicted: the mirrored planes stay below it.
func Candidates(d magmath.Readings, spacingMM, lowestZMM float64) []Candidate {
	sd := math.Log(scaleOf(d))
	length, near, deep := math.Log(1.5*spacingMM), math.Log(0.7*spacingMM), math.Log(2*spacingMM)
	lowest := lowestZMM
	for _, p := range d.At {
		lowest = max(lowest, p.Z)
	}
	smooth := Candidate{
		Kernel: Smooth{sd, length},
		Spread: []float64{1.5, 0.7},
		Starts: [][]float64{{sd, length + 0.7}},
	}
	one := Candidate{
		Kernel: Mirrored{lowest, sd, near},
		Spread: []float64{1.5, 0.7},
		Starts: [][]float64{{sd, near + 0.8}},
	}
	two := Candidate{
		Kernel: Sum{Mirrored{lowest, sd, near - 0.4}, Mirrored{lowest, sd - 0.7, deep}},
		Spread: []float64{1.5, 0.6, 1.5, 0.6},
	}
	mixed := Candidate{
		Kernel: Sum{Mirrored{lowest, sd, near}, Smooth{sd - 1.5, length - 0.5}},
		Spread: []float64{1.5, 0.7, 1, 0.7},
	}
	curlFree := Candidate{
		Kernel: CurlFree{sd, length},
		Spread: []float64{1.5, 0.7},
		Starts: [][]float64{{sd, length + 0.7}},
	}
	return []Candidate{smooth, one, two, mixed, curlFree}
}

// scaleOf returns the root mean square of a component, at least 0.05 uT.
func scaleOf(d magmath.Readings) float64 {
	sum := 0.0
	for _, b := range d.B {
		sum += r3.Norm2(b)
	}
	return max(0.05, math.Sqrt(sum/float64(3*max(1, len(d.B)))))
}

// tuneLimit is the number of stations beyond which hyperparameters are
// estimated from an even selection of that many; all stations then enter the map.
const tuneLimit = 120

// Fit estimates the hyperparameters of every candidate (the mode of their
// posterior) and keeps the kernel that predicts left-out stations best, by the
// sum of their log densities. Simpler candidates come first; a later one
// replaces an earlier one only for a gain of more than one half. It fails with
// the errors of magmath.Readings, magmath.ErrSingular if no candidate works, or
// the error of ctx after its end. One station is enough: the prediction then
// follows the priors and its uncertainty is large.
func Fit(ctx context.Context, d magmath.Readings, candidates []Candidate) (*Map, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	few := d.Thin(tuneLimit)
	var best *Map
	var score float64
	var room, inverse *mat.SymDense // large: all candidates share the two, and the best one's
	for _, c := range candidates {
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if room == nil {
			room = mat.NewSymDense(3*len(d.At), nil)
		}
		k, known, err := tune(ctx, few, c)
		if err != nil {
			continue
		}
		if len(few.At) < len(d.At) {
			known = featuresOf(known.sourceMean, known.sources, d.At)
		}
		m, err := condition(ctx, d, k, known, room)
		if err != nil {
			continue
		}
		if len(candidates) == 1 {
			return m, nil
		}
		if inverse == nil {
			inverse = mat.NewSymDense(3*len(d.At), nil)
		}
		left := m.leaveOneOut(inverse)
		m.left = &left
		if s := left.LogDensity; best == nil || s > score+0.5 {
			room = nil
			if best != nil {
				room = best.room
			}
			best, score = m, s
		}
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	if best == nil {
		return nil, magmath.ErrSingular
	}
	return best, nil
}

// tune estimates the hyperparameters of one candidate. It returns its kernel, and
// its features at the readings, under them.
func tune(ctx context.Context, d magmath.Readings, c Candidate) (Kernel, features, error) {
	obj := newObjective(d, c)
	obj.ended = func() bool { return ctx.Err() != nil }
	problem := optimize.Problem{Func: obj.at, Grad: obj.gradient}
	settings := &optimize.Settings{
		GradientThreshold: 1e-2, MajorIterations: 25, FuncEvaluations: 50,
		Converger: &optimize.FunctionConverge{Absolute: 0.02, Iterations: 2},
	}
	for _, start := range append([][]float64{obj.centre}, c.Starts...) {
		if math.IsInf(obj.at(start), 1) {
			continue
		}
		// A failed line search still leaves its best point in obj.
		_, _ = optimize.Minimize(problem, slices.Clone(start), settings, &optimize.LBFGS{})
	}
	if math.IsInf(obj.best, 1) {
		return nil, features{}, magmath.ErrSingular
	}
	n := len(c.Kernel.Params())
	return c.Kernel.With(obj.bestAt[:n]), obj.known.with(obj.bestAt[n:]), nil
}

// objective is the negative log posterior of the hyperparameters. It remembers the
// last point, whose factorization serves the gradient too if that is asked for,
// and the best.
type objective struct {
	ended   func() bool // nothing is evaluated any more
	d       magmath.Readings
	c       Candidate
	centre  []float64
	y       *mat.VecDense
	known   features      // all
	sources features      // those whose strengths are searched for
	fixed   *mat.SymDense // covariance of noise and source mean
	room    *mat.SymDense // for the covariance and its inverse
	last    evaluation
	best    float64
	bestAt  []float64
}

type evaluation struct {
	x     []float64
	value float64
	upper blas64.Triangular // of the covariance, in room; its inverse once slope is there
	alpha *mat.VecDense
	slope []float64 // nil: not asked for yet
}

func newObjective(d magmath.Readings, c Candidate) *objective {
	o := &objective{d: d, c: c, centre: c.params(), best: math.Inf(1), ended: func() bool { return false }}
	o.known = featuresOf(c.SourceMean, c.Sources, d.At)
	o.y = stack(d.Less(o.known.mean))
	mean, sources := o.known.parts()
	o.fixed, o.room, o.sources = mat.NewSymDense(3*len(d.At), nil), mat.NewSymDense(3*len(d.At), nil), sources
	o.fixed.CopySym(d.Noise)
	mean.addTo(o.fixed)
	return o
}

// at returns the value at x, +Inf where there is none.
func (o *objective) at(x []float64) float64 {
	if o.last.x == nil || !slices.Equal(x, o.last.x) {
		o.last = evaluation{x: slices.Clone(x), value: math.Inf(1)}
		o.evaluate(&o.last)
		if o.last.value < o.best {
			o.best, o.bestAt = o.last.value, o.last.x
		}
	}
	return o.last.value
}

// kernel returns the kernel at x.
func (o *objective) kernel(x []float64) Kernel {
	return o.c.Kernel.With(x[:len(x)-len(o.c.Sources)])
}

func (o *objective) evaluate(e *evaluation) {
	if o.ended() {
		return
	}
	value := 0.0
	for i, v := range e.x {
		z := (v - o.centre[i]) / o.c.Spread[i]
		if math.Abs(z) > 6 {
			return
		}
		value += z * z / 2
	}
	known := o.sources.with(e.x[len(e.x)-len(o.c.Sources):])
	var err error
	if e.upper, err = factorized(o.d.At, o.fixed, o.kernel(e.x), known, o.room); err != nil {
		return
	}
	e.alpha = solved(e.upper, o.y)
	value += 0.5 * mat.Dot(o.y, e.alpha)
	for i := range e.upper.N {
		value += math.Log(e.upper.Data[i*e.upper.Stride+i]) // half of log det C
	}
	if !math.IsNaN(value) {
		e.value = value
	}
}

// gradient fills in the derivatives at x, zero where the value is infinite.
func (o *objective) gradient(into, x []float64) {
	if math.IsInf(o.at(x), 1) {
		clear(into)
		return
	}
	if e := &o.last; e.slope == nil {
		e.slope = make([]float64, len(x))
		if _, ok := lapack64.Potri(e.upper); ok { // the inverse takes the place of U
			own := len(x) - len(o.c.Sources)
			o.slopes(o.kernel(x), e.alpha, o.room, e.slope[:own])
			o.sources.with(x[own:]).slopes(e.alpha, o.room, e.slope[own:])
			for i, v := range x {
				e.slope[i] += (v - o.centre[i]) / (o.c.Spread[i] * o.c.Spread[i])
			}
		}
	}
	copy(into, o.last.slope)
}

// slopes adds the derivatives of the negative log likelihood: half the sum
// over elements of (C^-1 - alpha alpha^T) times dC.
func (o *objective) slopes(k Kernel, alpha *mat.VecDense, inv *mat.SymDense, slope []float64) {
	parts := make([]magmath.Mat3, len(slope))
	raw, al := inv.RawSymmetric(), alpha.RawVector().Data
	for i, p := range o.d.At {
		for j := range i + 1 {
			k.Slopes(p, o.d.At[j], parts)
			f := 1.0
			if i == j {
				f = 0.5
			}
			for a := range 3 {
				u := al[3*i+a]
				for b := range 3 {
					// The upper triangle holds the element: row j is not below row i.
					r, c := 3*j+b, 3*i+a
					if r > c {
						r, c = c, r
					}
					w := f * (raw.Data[r*raw.Stride+c] - u*al[3*j+b])
					for s := range parts {
						slope[s] += w * parts[s][a][b]
					}
				}
			}
		}
	}
}

// covariance fills c with the covariance of readings at some places, of which
// fixed is the part that no hyperparameter changes, such as their noise.
func covariance(at []r3.Vec, fixed *mat.SymDense, k Kernel, known features, c *mat.SymDense) {
	c.CopySym(fixed)
	raw, between := c.RawSymmetric(), ready(k)
	for i, p := range at {
		m := between(p, p)
		for a := range 3 {
			for b := a; b < 3; b++ {
				raw.Data[(3*i+a)*raw.Stride+3*i+b] += m[a][b]
			}
		}
		for j := i + 1; j < len(at); j++ {
			m := between(p, at[j])
			for a := range 3 {
				row := raw.Data[(3*i+a)*raw.Stride+3*j:][:3]
				row[0] += m[a][0]
				row[1] += m[a][1]
				row[2] += m[a][2]
			}
		}
	}
	known.addTo(c)
}

// factorized returns U of the covariance C = U^T U of the readings; it overwrites
// c. If rounding demands it, a little is added to the diagonal, which keeps the
// condition number of C far below 1/eps, so that no caller has to estimate it.
func factorized(at []r3.Vec, fixed *mat.SymDense, k Kernel, known features, c *mat.SymDense) (blas64.Triangular, error) {
	for _, jitter := range []float64{1e-10, 1e-7, 1e-5} {
		covariance(at, fixed, k, known, c)
		n := c.SymmetricDim()
		mean := mat.Trace(c) / float64(n)
		if math.IsNaN(mean) || math.IsInf(mean, 0) {
			break
		}
		for i := range n {
			c.SetSym(i, i, c.At(i, i)+jitter*mean)
		}
		if u, ok := lapack64.Potrf(c.RawSymmetric()); ok {
			return u, nil
		}
	}
	return blas64.Triangular{}, magmath.ErrSingular
}

// solved returns C^-1 y for C = U^T U.
func solved(u blas64.Triangular, y *mat.VecDense) *mat.VecDense {
	x := mat.VecDenseCopyOf(y)
	blas64.Trsv(blas.Trans, u, x.RawVector())
	blas64.Trsv(blas.NoTrans, u, x.RawVector())
	return x
}
