package calib

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Candidate is what one number of parameters would lead to: the error of the
// corrected field across its own direction, root mean square over the
// attitudes to be flown, in microtesla. Along the field an error changes no
// direction.
type Candidate struct {
	Parameters int
	NoiseUT    float64 // from the noise of the readings
	LeftOutUT  float64 // from what is not fitted, under the prior
	TotalUT    float64
}

// nAll is offset and six shapes.
const nAll = 3 + nShapes

// design is what the readings tell about all nine parameters, whichever are
// fitted in the end.
type design struct {
	info  *mat.SymDense // J^T J of the residuals in microtesla
	score *mat.SymDense // J^T R J with the correlation R of their noise; nil: white
	noise float64       // variance of that noise, robust loss included
	prior [nShapes]float64
}

// designOf takes the derivatives at a fit for all nine parameters; every
// reading counts as it would in the fit.
func designOf(f *fit, x []r3.Vec, noise float64, prior [nShapes]float64) design {
	d := design{info: mat.NewSymDense(nAll, nil), noise: noise, prior: prior}
	m := f.matrix()
	var sum [nAll][nAll]float64
	grad := make([]float64, nAll)
	for i, v := range x {
		if f.weight[i] == 0 {
			continue
		}
		q := see(m, f.o, v)
		q.derivatives(m, f.o, v, f.target, grad)
		for a := range nAll {
			for b := a; b < nAll; b++ {
				sum[a][b] += grad[a] * grad[b]
			}
		}
	}
	for a := range nAll {
		for b := a; b < nAll; b++ {
			d.info.SetSym(a, b, sum[a][b])
		}
	}
	return d
}

// errorsOf splits the covariance of the error in all nine parameters into what
// noise gives and what comes of leaving the shapes beyond the first
// parameters-3 at zero. With the kept k and the left out l the kept absorb
//
//	I_kk^-1 I_kl e_l
//
// of what is left out (Gauss-Markov with a wrong model; e.g. Seber and Lee
// 2003, Linear Regression Analysis, sec. 9.2, from memory). ok is false where
// the readings do not tell the kept apart.
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

// acrossOf is the matrix W with e^T W e the mean square over the attitudes of
// the error across the field that an error e in the nine parameters makes.
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

// product is the trace of a b for a and b without negative eigenvalues:
// rounding may leave it a hair below zero.
func product(a, b *mat.SymDense) float64 { return max(traceOf(a, b), 0) }

// candidates prices 3, 4, 6 and 9 parameters. What cannot be told apart at all
// has infinite errors.
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

// bestOf is the candidate with the smallest total; the fewer parameters where
// two differ by less than two standard errors of a standard deviation with
// that many degrees of freedom.
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

// lossNoise is the variance that a residual is worth in a robust fit: s^2
// E(psi^2)/E(psi')^2.
//
// Source: Huber 1981, Robust Statistics, sec. 7.6 (from memory).
func lossNoise(f *fit, l loss) float64 {
	const h = 1e-4
	psi2, slope := 0.0, 0.0
	for _, r := range f.resid {
		z := r / f.s
		p := z * l.weight(z)
		psi2 += p * p
		slope += ((z+h)*l.weight(z+h) - (z-h)*l.weight(z-h)) / (2 * h)
	}
	n := float64(len(f.resid))
	psi2, slope = psi2/n, slope/n
	return f.s * f.s * psi2 / max(slope*slope, 0.05)
}

// worth is the variance of the noise by a fit with nine parameters and what
// that noise remembers. The degrees of freedom are those that the fit used up
// by following noise with a memory.
func (w *work) worth(ctx context.Context, f *fit, l loss) (variance float64, m memory) {
	n := float64(len(w.x))
	m = memoryOf(ctx, f, w.x)
	return lossNoise(f, l) * (1 - nAll/n) / max(1-m.spent/n, 0.3), m
}

// choose prices the models and picks one, at the fit with nine parameters
// under a wide prior. Where the readings contradict the prior it is widened;
// where the choice matters and they show less distortion than it expects, it
// is narrowed.
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

// matters is the error of the best model, as a share of the field, beyond
// which the stated prior is held against the readings.
const matters = 0.01

func (w *work) pick(across *mat.SymDense) {
	w.design = designOf(w.base, w.x, w.noise, w.prior)
	w.design.score = w.memory.score
	w.res.Candidates = w.design.candidates(across)
	if w.k != 1 { // the gain is far from 1 and must be fitted
		c := &w.res.Candidates[0]
		c.NoiseUT, c.LeftOutUT, c.TotalUT = math.Inf(1), math.Inf(1), math.Inf(1)
	}
	w.res.Parameters = bestOf(w.res.Candidates, w.memory.effective).Parameters
	if p := w.o.Parameters; p == 3 || p == 4 || p == 6 || p == 9 {
		w.res.Parameters = p
	}
}

// fitChosen is the maximum-likelihood fit of the chosen model.
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
	worth := memoryOf(ctx, f, w.x).effective
	w.tells = w.thick(f.s, worth)
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

// thick says that the band of readings is thicker than noise alone would make
// it, by five standard deviations of the variance of noise.
func (w *work) thick(s, worth float64) bool {
	own := w.flat * w.radius
	return own*own-s*s > 5*s*s*math.Sqrt(2/worth)
}

// narrow shrinks the prior to the distortion that the misfit of a sphere
// makes likely, at most to a twentieth of its variance. The misfit over the
// noise is a chi-square with five degrees of freedom where there is no
// distortion; its median is 4.351 and its 5 % quantile 1.145 (standard tables).
// The stated uncertainty rests on the latter: the most distortion that the
// misfit allows.
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

// scaled are the variances of the shapes with the prior's multiplied; the
// strength of the field stays as uncertain as it was.
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

// contradicts says that the chosen model leaves far more misfit than the
// prior explains, and widens the prior.
func (w *work) contradicts() bool {
	if w.res.Parameters == 9 {
		return false
	}
	excess := w.final.s*w.final.s - w.base.s*w.base.s
	explained := w.design.misfit(w.res.Parameters) / float64(len(w.x))
	if excess < 4*explained || excess < 0.5*w.base.s*w.base.s || explained == 0 {
		return false
	}
	ratio := min(excess/explained, 100)
	w.prior = w.scaled(ratio)
	w.wary = w.prior
	w.statePrior(ratio)
	return true
}

// misfit is the sum of squares that the shapes left out are expected to leave
// under the prior, after the kept have absorbed what they can.
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
