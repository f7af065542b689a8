package calib

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// correlation is the correlation in time of the noise of the readings, and the
// information that is left in them.
type correlation struct {
	// score is J^T R J: J the derivatives of the residuals by all nine
	// parameters, R their correlation.
	score *mat.SymDense
	// spent is the number of the readings' degrees of freedom that the fit used up.
	spent float64
	// effective is the number of independent readings with the same information,
	// on the average over the parameters.
	effective float64
}

// longestLag is the largest lag, in readings, at which the correlation is
// estimated; beyond, it decays as that of a first-order process.
const longestLag = 60

// correlationOf estimates the correlation of the noise of x, vectors in order of
// time, by lag. The noises of the axes are independent and have the same
// correlation r; a residual is the noise along d = M u/|M u|, so that the
// correlation of two residuals is r(lag) d_i.d_j. In a slow turn that is r; in a
// quick turn the residuals look white although the noise is not.
//
// The fit follows a part of the noise, which makes the correlation of the
// residuals too small: with C the covariance of the parameters over the noise's
// variance and g a reading's derivatives, the mean product of two residuals is
// low by about g_i^T C g_j. That is added; as C depends on the correlations, the
// estimate is repeated. Lags count up to the first at which white noise alone
// could give the estimate. A misfit of the model looks like correlation too, and
// does not average out as the probe turns: the parameters get no more
// information, on the average, than there are independent residuals.
//
// Source: the covariance I^-1 J^T R J I^-1 is that of least squares with
// correlated errors, e.g. Newey and West 1987, Econometrica 55, 703; its bias
// by the fit e.g. Kiviet and Phillips 1993, Econometric Theory 9, 62 (both from
// memory). What it does to the intervals is measured in the tests.
func correlationOf(ctx context.Context, f *fit, x []r3.Vec) correlation {
	t := trailOf(f, x)
	n, k := float64(len(x)), 3+len(f.e)
	m := correlation{score: t.product(0), spent: float64(k), effective: n}
	var c mat.Cholesky
	if squares, _, _ := t.lagged(0); len(x) < 8 || !(squares > 0) || !c.Factorize(m.score.SliceSym(0, k)) {
		return m
	}
	var inverse mat.SymDense
	if c.InverseTo(&inverse) != nil {
		return m
	}
	plain := m.score
	products := []*mat.SymDense{plain}
	for range 6 {
		before := m.spent
		var tau float64
		m.score, tau = t.correlated(ctx, covarianceOf(&inverse, m.score), m.spent, &products)
		switch spent := traceOf(&inverse, m.score); {
		case !c.Factorize(m.score.SliceSym(0, k)): // a correlation cut off at a lag need not be positive definite
			m.score.ScaleSym(tau, plain)
		case spent < tau*float64(k):
			m.score.ScaleSym(tau*float64(k)/spent, m.score)
		}
		m.spent = min(traceOf(&inverse, m.score), n/2)
		if math.Abs(m.spent-before) < 1e-3*before {
			break
		}
	}
	m.effective = n * float64(k) / m.spent
	return m
}

// covarianceOf returns I^-1 S I^-1 for the parameters of the inverse.
func covarianceOf(inverse, score *mat.SymDense) *mat.SymDense {
	k := inverse.SymmetricDim()
	var left, both mat.Dense
	left.Mul(inverse, score.SliceSym(0, k))
	both.Mul(&left, inverse)
	out := mat.NewSymDense(k, nil)
	for i := range k {
		for j := i; j < k; j++ {
			out.SetSym(i, j, both.At(i, j)/2+both.At(j, i)/2)
		}
	}
	return out
}

// traceOf returns the trace of a b over the parameters of a.
func traceOf(a, b mat.Symmetric) float64 {
	sum := 0.0
	for i := range a.SymmetricDim() {
		for j := range a.SymmetricDim() {
			sum += a.At(i, j) * b.At(i, j)
		}
	}
	return sum
}

// trail holds the residuals, their derivatives and directions in order of time.
type trail struct {
	u    []float64
	grad [][nAll]float64
	d    []r3.Vec // of length 1 in raw space
}

func trailOf(f *fit, x []r3.Vec) trail {
	t := trail{make([]float64, len(x)), make([][nAll]float64, len(x)), make([]r3.Vec, len(x))}
	m := f.matrix()
	for i, v := range x {
		t.u[i] = f.weight[i] * f.resid[i]
		if f.weight[i] > 0 {
			p := see(m, f.o, v)
			p.derivatives(m, f.o, v, f.target, t.grad[i][:])
			t.d[i] = r3.Scale(1/p.gain, p.v)
		}
	}
	return t
}

// lagged returns the sum of the products of residuals lag readings apart,
// weighted by d_i.d_j, the sum of the squared weights, and the mean weight.
func (t trail) lagged(lag int) (sum, weight, mean float64) {
	for i := lag; i < len(t.u); i++ {
		w := r3.Dot(t.d[i], t.d[i-lag])
		sum += w * t.u[i] * t.u[i-lag]
		weight += w * w
		mean += w / float64(len(t.u))
	}
	return sum, weight, mean
}

// product returns the symmetric part of the sum of d_i.d_j g_i g_j^T over
// readings lag apart.
func (t trail) product(lag int) *mat.SymDense {
	var sum [nAll][nAll]float64
	for i := lag; i < len(t.grad); i++ {
		addOuter(&sum, r3.Dot(t.d[i], t.d[i-lag]), &t.grad[i], &t.grad[i-lag])
	}
	return symmetric(&sum)
}

// decaying returns the sum over all lags from first on of ratio^(lag-first)
// product(lag), computed by a running sum.
func (t trail) decaying(first int, ratio float64) *mat.SymDense {
	var sum [nAll][nAll]float64
	var past [3][nAll]float64
	for i := first; i < len(t.grad); i++ {
		seen, old := [3]float64{t.d[i].X, t.d[i].Y, t.d[i].Z}, t.d[i-first]
		for axis, then := range [3]float64{old.X, old.Y, old.Z} {
			for a := range nAll {
				past[axis][a] = ratio*past[axis][a] + then*t.grad[i-first][a]
			}
			addOuter(&sum, seen[axis], &t.grad[i], &past[axis])
		}
	}
	return symmetric(&sum)
}

func addOuter(sum *[nAll][nAll]float64, w float64, g, h *[nAll]float64) {
	for a := range nAll {
		for b := range nAll {
			sum[a][b] += w * g[a] * h[b]
		}
	}
}

func symmetric(sum *[nAll][nAll]float64) *mat.SymDense {
	out := mat.NewSymDense(nAll, nil)
	for a := range nAll {
		for b := a; b < nAll; b++ {
			out.SetSym(a, b, sum[a][b]/2+sum[b][a]/2)
		}
	}
	return out
}

// correlated returns J^T R J for the correlations estimated with the covariance c
// of the parameters, and the number of residuals per independent one. products
// caches product by lag.
func (t trail) correlated(ctx context.Context, c *mat.SymDense, spent float64, products *[]*mat.SymDense) (score *mat.SymDense, tau float64) {
	zero, n, _ := t.lagged(0)
	variance := zero / max(n-spent, n/2)
	score, tau = mat.NewSymDense(nAll, nil), 1
	score.CopySym((*products)[0])
	first, last, lag := 0.0, 0.0, 1
	for ; lag <= min(longestLag, len(t.u)/4) && ctx.Err() == nil; lag++ {
		if lag == len(*products) {
			*products = append(*products, t.product(lag))
		}
		p := (*products)[lag]
		sum, weight, mean := t.lagged(lag)
		rho := (sum/variance + traceOf(c, p)) / max(weight, 1)
		if lag == 1 {
			first = min(max(rho, 0), 0.97)
		}
		if rho < 2.5/math.Sqrt(max(weight, 1)) { // white noise could give it
			break
		}
		last = min(rho, 1)
		tau += 2 * last * max(mean, 0)
		addScaled(score, 2*last, p)
	}
	if lag == 1 { // not significant, but the best estimate
		last = 1
	}
	addScaled(score, 2*last*first, t.decaying(lag, first))
	_, _, mean := t.lagged(lag)
	return score, tau + 2*last*first/(1-first)*max(mean, 0)
}

func addScaled(to *mat.SymDense, f float64, m *mat.SymDense) {
	for a := range nAll {
		for b := a; b < nAll; b++ {
			to.SetSym(a, b, to.At(a, b)+f*m.At(a, b))
		}
	}
}

// lossNoise returns the variance of a residual that gives the covariance of a
// robust fit: s^2 E(psi^2)/E(psi')^2.
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

// worth returns the variance of the noise by a fit with nine parameters, and the
// noise's correlation, which decides how many degrees of freedom the fit used up.
func (w *work) worth(ctx context.Context, f *fit, l loss) (variance float64, m correlation) {
	n := float64(len(w.x))
	m = correlationOf(ctx, f, w.x)
	return lossNoise(f, l) * (1 - nAll/n) / max(1-m.spent/n, 0.3), m
}
