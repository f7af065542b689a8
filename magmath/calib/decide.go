package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

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

// worth is the variance that one reading is worth to a fit with nine
// parameters: the noise's, times the readings that one independent reading
// stands for. The degrees of freedom are those of the independent ones.
func (w *work) worth(f *fit, l loss) float64 {
	n, tau := float64(len(w.x)), memory(f.resid, f.weight)
	return lossNoise(f, l) * tau * (1 - nAll/n) / max(1-nAll*tau/n, 0.3)
}

// choose prices the models and picks one, at the fit with nine parameters
// under a wide prior. Where the readings contradict the prior it is widened;
// where the choice matters and they show less distortion than it expects, it
// is narrowed.
func (w *work) choose() {
	across := acrossOf(w.base.matrix(), w.o.ReferenceUT, w.o.attitudes())
	w.noise = w.worth(w.base, w.basep.loss)
	w.pick(across)
	if c := bestOf(w.res.Candidates); c.TotalUT > matters*w.o.ReferenceUT && w.narrow() {
		w.pick(across)
	}
	for range 3 {
		w.fitChosen()
		if w.final == nil || !w.contradicts() {
			return
		}
		w.pick(across)
	}
	w.fitChosen()
}

// matters is the error of the best model, as a share of the field, beyond
// which the stated prior is held against the readings.
const matters = 0.01

func (w *work) pick(across *mat.SymDense) {
	w.design = designOf(w.base, w.x, w.noise, w.prior)
	w.res.Candidates = w.design.candidates(across)
	if w.k != 1 { // the gain is far from 1 and must be fitted
		c := &w.res.Candidates[0]
		c.NoiseUT, c.LeftOutUT, c.TotalUT = math.Inf(1), math.Inf(1), math.Inf(1)
	}
	w.res.Parameters = bestOf(w.res.Candidates).Parameters
	if p := w.o.Parameters; p == 3 || p == 4 || p == 6 || p == 9 {
		w.res.Parameters = p
	}
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
func (w *work) narrow() bool {
	const middle, low, dof, least = 4.351, 1.145, 5, 0.05
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 6}
	f, ok := p.solve(w.base.o, w.base.e[:1])
	worth := float64(len(w.x)) / memory(w.base.resid, w.base.weight)
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

// fitChosen is the maximum-likelihood fit of the chosen model.
func (w *work) fitChosen() {
	p := problem{x: w.x, target: w.o.ReferenceUT, loss: tukey(), rounds: 10}
	e := w.base.e[:shapesOf(w.res.Parameters)]
	w.final, w.tells = nil, true
	f, ok := p.solve(w.base.o, e)
	if ok {
		w.final = f
	}
	if w.flat >= flattish || !ok {
		return
	}
	worth := float64(len(w.x)) / memory(f.resid, f.weight)
	w.tells = w.thick(f.s, worth)
	other, ok := p.solve(w.mirrored(f.o), e)
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

// fit settles noise, covariance and weights of the chosen model.
func (w *work) fit() {
	if w.final == nil {
		return
	}
	f := w.final
	tau := memory(f.resid, f.weight)
	w.res.EffectiveSamples = float64(len(w.x)) / tau
	if w.res.Parameters == 9 {
		w.noise = w.worth(f, tukey())
	}
	likely := designOf(f, w.x, w.noise, w.prior)
	wary := design{info: likely.info, noise: w.noise, prior: w.wary}
	noise, leftOut, ok := wary.errorsOf(w.res.Parameters)
	_, expected, _ := likely.errorsOf(w.res.Parameters)
	if !ok {
		w.final = nil
		return
	}
	across := acrossOf(f.matrix(), w.o.ReferenceUT, w.o.attitudes())
	w.cov = mat.NewSymDense(nAll, nil)
	w.cov.AddSym(noise, leftOut)
	w.res.ErrorUT = math.Sqrt(product(noise, across) + product(expected, across))
	w.res.NoiseUT = f.s
	sum, n := 0.0, 0.0
	for _, r := range f.resid {
		if math.Abs(r) > wild*f.s {
			w.res.Rejected++
			continue
		}
		sum += r * r
		n++
	}
	w.res.ResidualUT = math.Sqrt(sum / max(n, 1))
}

// wild is how many standard deviations off a reading is called rejected: the
// loss gives it less than a third of its weight there.
const wild = 4.5

// state turns the scaled parameters into the answer.
func (w *work) state() {
	f := w.final
	if f == nil {
		w.res.Parameters = 0
		return
	}
	m := f.matrix().Scale(w.k)
	w.res.OffsetUT = r3.Scale(1/w.k, f.o)
	w.res.FieldUT, w.res.FieldStandardUT = w.o.ReferenceUT, w.o.ReferenceStandardUT
	keep := 1.0
	if w.o.Scale == FromProbe {
		keep = 1 / math.Cbrt(m.Det())
		w.res.FieldUT *= keep
		common := w.cov.At(3, 3) / 3
		w.res.FieldStandardUT = w.res.FieldUT * math.Sqrt(common)
	}
	w.res.Matrix = m.Scale(keep)
	w.covariance(w.res.Matrix)
	w.cover()
}

// covariance carries the errors of offset and shapes over to offset and
// matrix. A scale from the reference has its uncertainty; one from the probe
// has determinant 1 and the uncertainty of the mean of three gains.
func (w *work) covariance(m magmath.Mat3) {
	t := mat.NewDense(9, nAll, nil)
	for k := range 3 {
		t.Set(k, k, 1/w.k)
	}
	inverse := inverseOf(m)
	size := math.Cbrt(m.Det() / (w.final.matrix().Det()))
	for j, b := range shapes {
		d := b.Scale(size)
		if w.o.Scale == FromProbe {
			d = d.Add(m.Scale(-inverse.Mul(d).Trace() / 3))
		}
		for i, v := range six(d) {
			t.Set(3+i, 3+j, v)
		}
	}
	var left, c mat.Dense
	left.Mul(t, w.cov)
	c.Mul(&left, t.T())
	scale := w.o.ReferenceStandardUT / w.o.ReferenceUT
	if w.o.Scale == FromProbe {
		scale = w.res.Prior.Gain / math.Sqrt(3)
	} else if w.res.Parameters == 3 {
		scale = 0 // it is in what was left out
	}
	row := six(m)
	for i := range 9 {
		for j := range 9 {
			v := c.At(i, j)
			if i >= 3 && j >= 3 {
				v += scale * scale * row[i-3] * row[j-3]
			}
			w.res.Covariance[i][j] = v
		}
	}
	sd := func(i int) float64 { return math.Sqrt(max(w.res.Covariance[i][i], 0)) }
	w.res.OffsetStandardUT = r3.Vec{X: sd(0), Y: sd(1), Z: sd(2)}
	w.res.MatrixStandard = magmath.Mat3{{sd(3), sd(6), sd(7)}, {sd(6), sd(4), sd(8)}, {sd(7), sd(8), sd(5)}}
}

// six are the elements xx, yy, zz, xy, xz, yz.
func six(m magmath.Mat3) [6]float64 {
	return [6]float64{m[0][0], m[1][1], m[2][2], m[0][1], m[0][2], m[1][2]}
}

// cover counts the directions of the corrected field.
func (w *work) cover() {
	m := w.final.matrix()
	var seen []r3.Vec
	every := max(len(w.x)/500, 1)
	var last r3.Vec
	for i, v := range w.x {
		if math.Abs(w.final.resid[i]) > wild*w.final.s {
			continue
		}
		last = see(m, w.final.o, v).u
		w.res.Coverage.Add(last)
		if i%every == 0 {
			seen = append(seen, last)
		}
	}
	w.res.SphereCovered = w.res.Coverage.Fraction()
	w.res.AttitudesCovered = w.o.shown(w.o.attitudes(), seen)
	if gap, ok := w.res.Coverage.Gap(last); ok {
		w.res.Gap = new(HintTo(last, gap, w.o.Axes))
	}
}

func (c Candidate) words() string {
	return fmt.Sprintf("%d: %s", c.Parameters, microtesla(c.TotalUT))
}

func microtesla(v float64) string {
	switch {
	case math.IsInf(v, 0) || math.IsNaN(v) || v > 1e4:
		return "not determined"
	case v >= 10:
		return fmt.Sprintf("%.0f uT", v)
	case v >= 1:
		return fmt.Sprintf("%.1f uT", v)
	}
	return fmt.Sprintf("%.2f uT", v)
}
