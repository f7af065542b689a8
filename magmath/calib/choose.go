package calib

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Candidate is the expected error with one number of parameters: that of the
// corrected field across its own direction, root mean square over the attitudes
// to be flown, microtesla. An error along the field changes no direction.
type Candidate struct {
	Parameters int
	NoiseUT    float64 // from the noise of the readings
	LeftOutUT  float64 // from the shapes left out, under the prior
	TotalUT    float64 // both together; +Inf where the readings do not determine the parameters
}

// nAll is the number of parameters: the offset and six shapes.
const nAll = 3 + nShapes

// design is the information of the readings on all nine parameters, whichever
// are fitted.
type design struct {
	info  *mat.SymDense // J^T J of the residuals in microtesla
	score *mat.SymDense // J^T R J with the correlation R of their noise; nil: white
	noise float64       // variance of that noise, robust loss included
	prior [nShapes]float64
}

// designOf sums the information at a fit, leaving out the readings of weight
// zero.
func designOf(f *fit, x []r3.Vec, noise float64, prior [nShapes]float64) design {
	d := design{noise: noise, prior: prior}
	m := f.matrix()
	var sum [nAll][nAll]float64
	var grad [nAll]float64
	for i, v := range x {
		if f.weight[i] == 0 {
			continue
		}
		see(m, f.o, v).derivatives(m, f.o, v, f.target, grad[:])
		addOuter(&sum, 1, &grad, &grad)
	}
	d.info = symmetric(&sum)
	return d
}

// errorsOf returns the covariance of the error in all nine parameters in two
// parts: that of the noise, and that of leaving the shapes beyond the first
// parameters-3 at zero. If k are kept and l left out, the kept parameters are
// biased by
//
//	I_kk^-1 I_kl e_l
//
// (Gauss-Markov with a wrong model; e.g. Seber and Lee 2003, Linear Regression
// Analysis, sec. 9.2, from memory). ok is false where the readings do not
// determine the kept parameters.
func (d design) errorsOf(parameters int) (noise, leftOut *mat.SymDense, ok bool) {
	k := parameters
	kept := d.info.SliceSym(0, k)
	var c mat.Cholesky
	if !c.Factorize(kept) || c.Cond() > 1e15 {
		return nil, nil, false
	}
	var inverse mat.SymDense
	if err := c.InverseTo(&inverse); err != nil {
		return nil, nil, false
	}
	byNoise := &inverse
	if d.score != nil {
		byNoise = covarianceOf(&inverse, d.score)
	}
	noise = mat.NewSymDense(nAll, nil)
	for i := range k {
		for j := i; j < k; j++ {
			noise.SetSym(i, j, d.noise*byNoise.At(i, j))
		}
	}
	leftOut = mat.NewSymDense(nAll, nil)
	for l := k; l < nAll; l++ {
		t := make([]float64, nAll)
		for i := range k {
			for j := range k {
				t[i] += inverse.At(i, j) * d.info.At(j, l)
			}
		}
		t[l] = -1
		leftOut.SymRankOne(leftOut, d.prior[l-3], mat.NewVecDense(nAll, t))
	}
	return noise, leftOut, true
}

// acrossOf returns the matrix W such that an error e in the nine parameters makes
// a mean square error e^T W e across the field, over the attitudes.
func acrossOf(m magmath.Mat3, target float64, attitudes []r3.Vec) *mat.SymDense {
	w := mat.NewSymDense(nAll, nil)
	inverse, _ := m.Inverse() // its determinant is far from zero
	for _, u := range attitudes {
		var cols [nAll]r3.Vec
		raw := inverse.Apply(r3.Scale(target, u))
		for k := range 3 {
			cols[k] = r3.Scale(-1, column(m, k))
		}
		for j, b := range shapes {
			cols[3+j] = b.Apply(raw)
		}
		for k, c := range cols {
			cols[k] = r3.Sub(c, r3.Scale(r3.Dot(c, u), u))
		}
		for i := range nAll {
			for j := i; j < nAll; j++ {
				w.SetSym(i, j, w.At(i, j)+r3.Dot(cols[i], cols[j])/float64(len(attitudes)))
			}
		}
	}
	return w
}

func column(m magmath.Mat3, k int) r3.Vec { return r3.Vec{X: m[0][k], Y: m[1][k], Z: m[2][k]} }

// product returns the trace of a b, for a and b without negative eigenvalues and
// therefore never negative, which rounding could make it.
func product(a, b *mat.SymDense) float64 { return max(traceOf(a, b), 0) }

// candidates returns the expected errors of 3, 4, 6 and 9 parameters, infinite
// where the readings do not determine them.
func (d design) candidates(across *mat.SymDense) []Candidate {
	out := make([]Candidate, 0, 4)
	for _, k := range [4]int{3, 4, 6, 9} {
		c := Candidate{Parameters: k, NoiseUT: math.Inf(1), LeftOutUT: math.Inf(1), TotalUT: math.Inf(1)}
		if noise, leftOut, ok := d.errorsOf(k); ok {
			a, b := product(noise, across), product(leftOut, across)
			c.NoiseUT, c.LeftOutUT, c.TotalUT = math.Sqrt(a), math.Sqrt(b), math.Sqrt(a+b)
		}
		out = append(out, c)
	}
	return out
}

// bestOf returns the candidate of smallest total. Of two that differ by less than
// two standard errors of a standard deviation with dof degrees of freedom it
// prefers the fewer parameters.
func bestOf(candidates []Candidate, dof float64) Candidate {
	same := 1 - math.Sqrt2/math.Sqrt(max(dof, 9))
	best := candidates[0]
	for _, c := range candidates[1:] {
		if c.TotalUT < same*best.TotalUT || math.IsInf(best.TotalUT, 1) {
			best = c
		}
	}
	return best
}

// choose picks the number of parameters from the information at the first fit,
// and fits that model. It widens the prior where the readings contradict it, and
// narrows it where the readings show less distortion and that matters.
func (w *work) choose(ctx context.Context) {
	across := acrossOf(w.base.matrix(), w.o.ReferenceUT, w.o.attitudes())
	w.noise, w.memory = w.worth(ctx, w.base, w.basep.loss)
	w.pick(across)
	if c := bestOf(w.res.Candidates, w.memory.effective); c.TotalUT > matters*w.o.ReferenceUT && w.narrow(ctx) {
		w.pick(across)
	}
	for range 3 {
		w.fitChosen(ctx)
		if w.final == nil || !w.contradicts() {
			return
		}
		w.pick(across)
	}
	w.fitChosen(ctx)
}

// matters is the error of the best model, as a share of the field, above which
// choose tries to narrow the prior.
const matters = 0.01

func (w *work) pick(across *mat.SymDense) {
	w.design = designOf(w.base, w.x, w.noise, w.prior)
	w.design.score = w.memory.score
	w.res.Candidates = w.design.candidates(across)
	if w.k != 1 { // the gain is far from 1: three parameters do not serve
		c := &w.res.Candidates[0]
		c.NoiseUT, c.LeftOutUT, c.TotalUT = math.Inf(1), math.Inf(1), math.Inf(1)
	}
	w.res.Parameters = bestOf(w.res.Candidates, w.memory.effective).Parameters
	if p := w.o.Parameters; p == 3 || p == 4 || p == 6 || p == 9 {
		w.res.Parameters = p
	}
}

// fitChosen makes the maximum-likelihood fit of the chosen model, for a thin band
// of readings from both sides of it.
func (w *work) fitChosen(ctx context.Context) {
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 10}
	e := w.base.e[:shapesOf(w.res.Parameters)]
	w.final, w.tells = nil, true
	f, ok := p.solve(ctx, w.base.o, e)
	if ok {
		w.final = f
	}
	if w.flat >= flattish || !ok {
		return
	}
	worth := correlationOf(ctx, f, w.x).effective
	// The band is thicker than noise alone would make it, by five standard
	// deviations of the variance of noise.
	thickness, noise := w.flat*w.radius, f.s
	w.tells = thickness*thickness-noise*noise > 5*noise*noise*math.Sqrt(2/worth)
	other, ok := p.solve(ctx, w.mirrored(f.o), e)
	if !ok || r3.Norm(r3.Sub(other.o, f.o)) < 6*f.s {
		return
	}
	better, worse := f, other
	if other.s < f.s {
		better, worse = other, f
	}
	w.final = better
	// Twice the difference of the log-likelihoods.
	w.tells = w.tells && 2*worth*math.Log(worse.s/better.s) > 25
}

// narrow shrinks the prior to the distortion that the misfit of a sphere makes
// likely, at most to a twentieth of its variance, and reports whether it did.
// Without distortion the misfit over the noise is chi-square with five degrees of
// freedom, of median 4.351 and 5 % quantile 1.145 (standard tables). The stated
// uncertainty rests on the quantile: the largest distortion that the misfit
// allows.
//
// Source: the idea is empirical Bayes, e.g. Efron and Morris 1973, J. American
// Statistical Association 68, 117 (from memory); what it does to the intervals
// is measured in the tests.
func (w *work) narrow(ctx context.Context) bool {
	const middle, low, dof, least = 4.351, 1.145, 5, 0.05
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 6}
	f, ok := p.solve(ctx, w.base.o, w.base.e[:1])
	worth := w.memory.effective
	expected := worth * w.design.misfit(4) / float64(len(w.x)) / (w.base.s * w.base.s) / dof
	if !ok || !(expected > 0) {
		return false
	}
	seen := worth*(f.s*f.s/(w.base.s*w.base.s)-1) + dof
	ratio := max((seen/middle-1)/expected, least)
	if ratio >= 1 {
		return false
	}
	w.wary = w.scaled(min(max((seen/low-1)/expected, least), 1))
	w.prior = w.scaled(ratio)
	w.statePrior(ratio)
	return true
}

// scaled returns the variances of the shapes for a prior of variance multiplied
// by ratio. The uncertainty of the field's strength is not multiplied.
func (w *work) scaled(ratio float64) [nShapes]float64 {
	o := w.o
	o.Prior = w.res.Prior
	o.Prior.Gain *= math.Sqrt(ratio)
	o.Prior.Cross *= math.Sqrt(ratio)
	return o.priorVariances()
}

func (w *work) statePrior(ratio float64) {
	w.res.Prior.Gain *= math.Sqrt(ratio)
	w.res.Prior.Cross *= math.Sqrt(ratio)
}

// contradicts reports whether the chosen model has far more misfit than the prior
// explains; if so it widens the prior.
func (w *work) contradicts() bool {
	if w.res.Parameters == 9 {
		return false
	}
	extra := w.final.s*w.final.s - w.base.s*w.base.s
	explained := w.design.misfit(w.res.Parameters) / float64(len(w.x))
	if extra < 4*explained || extra < 0.5*w.base.s*w.base.s || explained == 0 {
		return false
	}
	ratio := min(extra/explained, 100)
	w.prior = w.scaled(ratio)
	w.wary = w.prior
	w.statePrior(ratio)
	return true
}

// misfit returns the sum of squares expected under the prior from the shapes left
// out, after the fit of the kept parameters.
func (d design) misfit(parameters int) float64 {
	k := parameters
	var c mat.Cholesky
	if !c.Factorize(d.info.SliceSym(0, k)) {
		return 0
	}
	sum := 0.0
	for l := k; l < nAll; l++ {
		b := mat.NewVecDense(k, nil)
		for i := range k {
			b.SetVec(i, d.info.At(i, l))
		}
		var t mat.VecDense
		if c.SolveVecTo(&t, b) != nil {
			return 0
		}
		sum += d.prior[l-3] * max(d.info.At(l, l)-mat.Dot(b, &t), 0)
	}
	return sum
}
