package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

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
