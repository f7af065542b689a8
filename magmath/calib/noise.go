package calib

import (
	"context"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
)

// memory is what the noise of one reading tells of the next ones', and what
// that leaves of the readings' worth.
type memory struct {
	// score is J^T R J: J the derivatives of the residuals by all nine
	// parameters, R their correlation.
	score *mat.SymDense
	// spent is how many of the readings' degrees of freedom the fit used up.
	spent float64
	// effective is how many independent readings would tell the parameters as
	// well, on the average of the parameters.
	effective float64
}

// longestMemory bounds the lags at which a correlation is looked for; beyond,
// that of a first-order process goes on.
const longestMemory = 60

// memoryOf estimates the correlation of the noise, in order of time, by lag.
// Each axis has its own noise, all with the same memory r, and a residual sees
// it along the direction d = M u/|M u|; so the correlation of two residuals is
// r(lag) d_i.d_j. In a slow turn that is r; where the probe is turned quickly
// the residuals look white and the estimate is as uncertain all the same.
//
// The fit follows a part of the noise and so hides a part of its memory: with
// C the covariance of the parameters over the noise's variance and g a
// reading's derivatives, the mean of a product of two residuals is short by
// about g_i^T C g_j, which is put back; as C follows from the correlations,
// this is repeated. Lags count up to the first at which white noise alone would
// give as much. A misfit of the model looks like memory too, and does not
// average out as the probe turns: the parameters are taken to be known no
// better, on the average, than by as many readings as independent residuals.
//
// Source: the covariance I^-1 J^T R J I^-1 is that of least squares with
// correlated errors, e.g. Newey and West 1987, Econometrica 55, 703; its bias
// by the fit e.g. Kiviet and Phillips 1993, Econometric Theory 9, 62 (both from
// memory). What it does to the intervals is measured in the tests.
func memoryOf(ctx context.Context, f *fit, x []r3.Vec) memory {
	t := trailOf(f, x)
	n, k := float64(len(x)), 3+len(f.e)
	m := memory{score: t.product(0), spent: float64(k), effective: n}
	var c mat.Cholesky
	if len(x) < 8 || !t.any() || !c.Factorize(m.score.SliceSym(0, k)) {
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
		case !c.Factorize(m.score.SliceSym(0, k)): // correlations that end early need not be those of any noise
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

// covarianceOf is I^-1 S I^-1 for the kept parameters.
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

// traceOf is the trace of a b over the parameters of a.
func traceOf(a, b mat.Symmetric) float64 {
	sum := 0.0
	for i := range a.SymmetricDim() {
		for j := range a.SymmetricDim() {
			sum += a.At(i, j) * b.At(i, j)
		}
	}
	return sum
}

// trail is the residuals, their derivatives and directions in order of time.
type trail struct {
	u    []float64
	grad [][nAll]float64
	d    []r3.Vec // of length 1 in raw space
}

// any says that there is a residual.
func (t trail) any() bool {
	sum, _, _ := t.lagged(0)
	return sum > 0
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

// lagged is the sum of the products of residuals that many readings apart,
// weighted by d_i.d_j, that of the squares of the weights, and the mean weight.
func (t trail) lagged(lag int) (sum, weight, mean float64) {
	for i := lag; i < len(t.u); i++ {
		w := r3.Dot(t.d[i], t.d[i-lag])
		sum += w * t.u[i] * t.u[i-lag]
		weight += w * w
		mean += w / float64(len(t.u))
	}
	return sum, weight, mean
}

// product is the symmetric part of the sum of d_i.d_j g_i g_j^T over readings
// that many apart.
func (t trail) product(lag int) *mat.SymDense {
	var sum [nAll][nAll]float64
	for i := lag; i < len(t.grad); i++ {
		addOuter(&sum, r3.Dot(t.d[i], t.d[i-lag]), &t.grad[i], &t.grad[i-lag])
	}
	return symmetric(&sum)
}

// decaying is the sum over lags from first on of ratio^(lag-first) times
// product(lag), by a running sum.
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

// correlated is J^T R J by the correlations found with the covariance c of the
// parameters, and how many neighbours one independent residual stands for.
// products holds the products by lag that are known already.
func (t trail) correlated(ctx context.Context, c *mat.SymDense, spent float64, products *[]*mat.SymDense) (score *mat.SymDense, tau float64) {
	zero, n, _ := t.lagged(0)
	variance := zero / max(n-spent, n/2)
	score, tau = mat.NewSymDense(nAll, nil), 1
	score.CopySym((*products)[0])
	first, last, lag := 0.0, 0.0, 1
	for ; lag <= min(longestMemory, len(t.u)/4) && ctx.Err() == nil; lag++ {
		if lag == len(*products) {
			*products = append(*products, t.product(lag))
		}
		p := (*products)[lag]
		sum, weight, mean := t.lagged(lag)
		rho := (sum/variance + traceOf(c, p)) / max(weight, 1)
		if lag == 1 {
			first = min(max(rho, 0), 0.97)
		}
		if rho < 2.5/math.Sqrt(max(weight, 1)) { // more than white noise gives
			break
		}
		last = min(rho, 1)
		tau += 2 * last * max(mean, 0)
		addScaled(score, 2*last, p)
	}
	if lag == 1 { // too little to be sure of, but the best guess
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
