package calib

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/levmar"
)

// fit is a model fitted to vectors near the sphere of radius target.
type fit struct {
	o      r3.Vec
	e      []float64 // weights of the shapes
	target float64
	s      float64 // standard deviation of the noise, microtesla an axis
	resid  []float64
	weight []float64 // of each vector, 0..1
	cost   float64   // robust, in units of variance, prior included
}

func (f *fit) matrix() magmath.Mat3 { return matrixOf(f.e) }

// loss is a robust loss: the weight of a residual of z standard deviations in a
// sum of squares, and its cost.
type loss struct {
	weight func(z float64) float64
	cost   func(z float64) float64 // z^2 near 0
}

// huber returns a loss that is linear beyond 1.5 standard deviations, so that
// every reading counts; tukey one whose weight is zero beyond 6, which has 98 %
// of the efficiency of least squares on Gaussian noise.
//
// Source: Huber 1981, Robust Statistics, ch. 4 and 7 (from memory); the
// efficiency is measured in the tests.
func huber() loss {
	const k = 1.5
	return loss{
		func(z float64) float64 { return min(1, k/max(math.Abs(z), k)) },
		func(z float64) float64 {
			if z = math.Abs(z); z > k {
				return 2*k*z - k*k
			}
			return z * z
		},
	}
}

const tukeyC = 6

func tukey() loss {
	const third = tukeyC * tukeyC / 3.0
	return loss{
		func(z float64) float64 {
			q := 1 - z*z/(tukeyC*tukeyC)
			if q <= 0 {
				return 0
			}
			return q * q
		},
		func(z float64) float64 {
			q := 1 - z*z/(tukeyC*tukeyC)
			if q <= 0 {
				return third
			}
			return third * (1 - q*q*q)
		},
	}
}

// problem is a fit to be made.
type problem struct {
	x      []r3.Vec
	target float64   // |M (x - o)|
	prior  []float64 // standard deviations of the weights; nil: none
	loss   loss
	rounds int
	steps  int // of least squares in a round; 0: 12
}

// solve fits from the start o, e by rounds of weighting and least squares. ok is
// false if ctx ended or the residuals cannot be computed; f is then unfinished.
func (p problem) solve(ctx context.Context, o r3.Vec, e []float64) (f *fit, ok bool) {
	n := len(p.x)
	f = &fit{o: o, e: append([]float64{}, e...), target: p.target, resid: make([]float64, n), weight: make([]float64, n)}
	if !allowed(f.matrix()) {
		clear(f.e)
	}
	theta := append([]float64{o.X, o.Y, o.Z}, f.e...)
	root := make([]float64, n)    // square roots of the weights over s
	targets := make([]float64, n) // F plus what the noise adds to |y|
	steps := p.steps
	if steps == 0 {
		steps = 12
	}
	f.see(p, 0)
	f.s = scaleOf(f.resid, 0)
	for round := range p.rounds {
		f.reweigh(p, root, targets)
		res, err := levmar.Minimize(ctx, p.residuals(root, targets), theta, n+len(p.prior),
			levmar.Options{MaxIterations: steps, FTol: 1e-6, XTol: 1e-7})
		if err != nil {
			return f, false
		}
		moved := f.move(res.X)
		theta = res.X
		f.see(p, f.s)
		before := f.s
		f.s = scaleOf(f.resid, len(theta))
		if round > 0 && moved < 0.01*f.s/math.Sqrt(float64(n)) && math.Abs(f.s-before) < 0.005*f.s {
			break
		}
	}
	f.price(p)
	return f, true
}

// move sets the parameters and returns the length of the change in microtesla,
// that of a shape being its effect at the target.
func (f *fit) move(theta []float64) float64 {
	o := r3.Vec{X: theta[0], Y: theta[1], Z: theta[2]}
	sum := r3.Norm2(r3.Sub(o, f.o))
	for j := range f.e {
		d := (theta[3+j] - f.e[j]) * f.target
		sum += d * d
	}
	f.o = o
	copy(f.e, theta[3:])
	return math.Sqrt(sum)
}

// see computes the residuals for noise of standard deviation s.
func (f *fit) see(p problem, s float64) {
	m := f.matrix()
	m2 := m.Mul(m).Trace()
	for i, x := range p.x {
		q := see(m, f.o, x)
		f.resid[i] = q.residual(p.target + lengthening(s, m2, q.gain, p.target))
	}
}

// lengthening returns the mean of |y + M n| - |y| to second order in the noise n
// of standard deviation s on each axis: s^2 (tr M^2 - |M u|^2)/(2 F).
func lengthening(s, trM2, gain, target float64) float64 {
	return s * s * (trM2 - gain*gain) / (2 * target)
}

func (f *fit) reweigh(p problem, root, targets []float64) {
	m := f.matrix()
	m2 := m.Mul(m).Trace()
	for i, r := range f.resid {
		f.weight[i] = p.loss.weight(r / f.s)
		root[i] = math.Sqrt(f.weight[i]) / f.s
		targets[i] = p.target + lengthening(f.s, m2, see(m, f.o, p.x[i]).gain, p.target)
	}
}

func (f *fit) price(p problem) {
	f.cost = 0
	for i, r := range f.resid {
		f.weight[i] = p.loss.weight(r / f.s)
		f.cost += p.loss.cost(r / f.s)
	}
	for j, sd := range p.prior {
		f.cost += f.e[j] * f.e[j] / (sd * sd)
	}
}

// residuals returns the function to minimise: the weighted residuals, then those
// of the prior.
func (p problem) residuals(root, targets []float64) levmar.Func {
	return func(theta, r, jac []float64) bool {
		k := len(theta)
		o, m := r3.Vec{X: theta[0], Y: theta[1], Z: theta[2]}, matrixOf(theta[3:])
		if !allowed(m) {
			return false
		}
		for i, x := range p.x {
			q := see(m, o, x)
			r[i] = root[i] * q.residual(targets[i])
			if jac == nil {
				continue
			}
			grad := jac[i*k : (i+1)*k]
			q.derivatives(m, o, x, targets[i], grad)
			for j := range grad {
				grad[j] *= root[i]
			}
		}
		for j, sd := range p.prior {
			r[len(p.x)+j] = theta[3+j] / sd
			if jac != nil {
				row := jac[(len(p.x)+j)*k : (len(p.x)+j+1)*k]
				clear(row)
				row[3+j] = 1 / sd
			}
		}
		return true
	}
}

// scaleOf returns a robust standard deviation of the residuals of a fit with k
// parameters: the root mean square of those within three standard deviations,
// by iteration from the median of their absolute values.
//
// Gaussian noise cut at three standard deviations keeps the share 0.9733 of
// its variance (standard normal tables).
func scaleOf(resid []float64, k int) float64 {
	const floor, within, keeps = 1e-6, 3, 0.973337
	s := max(medianAbs(resid)*1.482602218505602, floor)
	for range 20 {
		sum, n := 0.0, 0
		for _, r := range resid {
			if math.Abs(r) <= within*s {
				sum += r * r
				n++
			}
		}
		// The parameters are shared evenly among the residuals.
		next := max(math.Sqrt(sum/keeps/max(float64(n)-float64(k)*float64(n)/float64(len(resid)), 1)), floor)
		if math.Abs(next-s) < 1e-6*s {
			return next
		}
		s = next
	}
	return s
}

func medianAbs(x []float64) float64 {
	d := make([]float64, len(x))
	for i, v := range x {
		d[i] = math.Abs(v)
	}
	return median(d)
}

// median returns the median of x, or 0 if x is empty. It sorts x.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return magmath.Median(x)
}
