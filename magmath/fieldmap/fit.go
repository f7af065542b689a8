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
	Kernel  Kernel
	Sources []Source // explicit fields besides the kernel's
	// SourceMean is a known mean field, microtesla, such as that of fitted
	// sources; nil for zero. Kernel and sources describe the departure from it.
	SourceMean func(p r3.Vec) r3.Vec
	Spread     []float64 // of the kernel's hyperparameters, then of each source's
	// Starts are further starting points for the climb, besides the centres.
	Starts [][]float64
}

// params returns all hyperparameters: the kernel's, then the sources'.
func (c Candidate) params() []float64 {
	p := slices.Clone(c.Kernel.Params())
	for _, s := range c.Sources {
		if !s.Fixed {
			p = append(p, s.LogSD)
		}
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
		k, sources, err := tune(ctx, few, c)
		if err != nil {
			continue
		}
		m, err := condition(ctx, d, c.SourceMean, k, sources, room)
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

// tune estimates the hyperparameters of one candidate.
func tune(ctx context.Context, d magmath.Readings, c Candidate) (Kernel, []Source, error) {
	centre := c.params()
	obj := &objective{ended: func() bool { return ctx.Err() != nil }, d: d, c: c, centre: centre, y: stack(d.Less(c.SourceMean)), best: math.Inf(1), known: featuresOf(c.Sources, d.At), room: mat.NewSymDense(3*len(d.At), nil)}
	problem := optimize.Problem{
		Func: func(x []float64) float64 { return obj.at(x).value },
		Grad: func(grad, x []float64) { copy(grad, obj.at(x).slope) },
	}
	settings := &optimize.Settings{
		GradientThreshold: 1e-2, MajorIterations: 25, FuncEvaluations: 50,
		Converger: &optimize.FunctionConverge{Absolute: 0.02, Iterations: 2},
	}
	for _, start := range append([][]float64{centre}, c.Starts...) {
		if math.IsInf(obj.at(start).value, 1) {
			continue
		}
		// A failed line search still leaves its best point in obj.
		_, _ = optimize.Minimize(problem, slices.Clone(start), settings, &optimize.LBFGS{})
	}
	if math.IsInf(obj.best, 1) {
		return nil, nil, magmath.ErrSingular
	}
	n := len(c.Kernel.Params())
	return c.Kernel.With(obj.bestAt[:n]), obj.known.with(obj.bestAt[n:]).sources, nil
}

// objective is the negative log posterior of the hyperparameters. It keeps the
// last point, since value and gradient come from one factorisation, and the best.
type objective struct {
	ended  func() bool // nothing is evaluated any more
	d      magmath.Readings
	c      Candidate
	centre []float64
	y      *mat.VecDense
	known  features
	room   *mat.SymDense // for the covariance
	last   evaluation
	best   float64
	bestAt []float64
}

type evaluation struct {
	x     []float64
	value float64
	slope []float64
}

func (o *objective) at(x []float64) evaluation {
	if o.last.x != nil && slices.Equal(x, o.last.x) {
		return o.last
	}
	e := o.evaluate(x)
	o.last = e
	if e.value < o.best {
		o.best, o.bestAt = e.value, e.x
	}
	return e
}

func (o *objective) evaluate(x []float64) evaluation {
	e := evaluation{x: slices.Clone(x), value: math.Inf(1), slope: make([]float64, len(x))}
	if o.ended() {
		return e
	}
	for i, v := range x {
		if math.Abs(v-o.centre[i]) > 6*o.c.Spread[i] {
			return e
		}
	}
	own := len(o.c.Kernel.Params())
	kernel, known := o.c.Kernel.With(x[:own]), o.known.with(x[own:])
	upper, err := factorized(o.d, kernel, known, o.room)
	if err != nil {
		return e
	}
	alpha := solved(upper, o.y)
	value := 0.5 * mat.Dot(o.y, alpha)
	for i := range upper.N {
		value += math.Log(upper.Data[i*upper.Stride+i]) // half of log det C
	}
	if _, ok := lapack64.Potri(upper); !ok { // the inverse takes the place of U
		return e
	}
	o.slopes(kernel, alpha, o.room, e.slope[:own])
	known.slopes(alpha, o.room, e.slope[own:])
	for i, v := range x {
		z := (v - o.centre[i]) / o.c.Spread[i]
		value += z * z / 2
		e.slope[i] += z / o.c.Spread[i]
	}
	if !math.IsNaN(value) {
		e.value = value
	}
	return e
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

// covariance fills c with the covariance of the readings, noise included, and
// returns it.
func covariance(d magmath.Readings, k Kernel, known features, c *mat.SymDense) *mat.SymDense {
	n := len(d.At)
	c.CopySym(d.Noise)
	raw, between := c.RawSymmetric(), ready(k)
	for i, p := range d.At {
		for j := i; j < n; j++ {
			m := between(p, d.At[j])
			for a := range 3 {
				row := raw.Data[(3*i+a)*raw.Stride:]
				for b := range 3 {
					if u, v := 3*i+a, 3*j+b; u <= v {
						row[v] += m[a][b]
					}
				}
			}
		}
	}
	known.addTo(c)
	return c
}

// factorized returns U of the readings' covariance C = U^T U, noise included; it
// overwrites c. If rounding demands it, a little is added to the diagonal, which
// keeps the condition number of C far below 1/eps, so that no caller has to
// estimate it.
func factorized(d magmath.Readings, k Kernel, known features, c *mat.SymDense) (blas64.Triangular, error) {
	for _, jitter := range []float64{1e-10, 1e-7, 1e-5} {
		covariance(d, k, known, c)
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
