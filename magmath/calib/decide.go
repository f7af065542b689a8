package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
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

// worth is the variance of the noise by a fit with nine parameters and what
// that noise remembers. The degrees of freedom are those that the fit used up
// by following noise with a memory.
func (w *work) worth(f *fit, l loss) (variance float64, m memory) {
	n := float64(len(w.x))
	m = memoryOf(f, w.x)
	return lossNoise(f, l) * (1 - nAll/n) / max(1-m.spent/n, 0.3), m
}

// choose prices the models and picks one, at the fit with nine parameters
// under a wide prior. Where the readings contradict the prior it is widened;
// where the choice matters and they show less distortion than it expects, it
// is narrowed.
func (w *work) choose() {
	across := acrossOf(w.base.matrix(), w.o.ReferenceUT, w.o.attitudes())
	w.noise, w.memory = w.worth(w.base, w.basep.loss)
	w.pick(across)
	if c := bestOf(w.res.Candidates, w.memory.effective); c.TotalUT > matters*w.o.ReferenceUT && w.narrow() {
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
	worth := memoryOf(f, w.x).effective
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
