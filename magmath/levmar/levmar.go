// Package levmar minimises the sum of squares of residuals that are not linear
// in their parameters, by the method of Levenberg and Marquardt. Minimize takes
// a function for the residuals and their Jacobian, and a start chosen by the
// caller, and returns a local minimum near it. Orthogonal transformations solve
// every linear problem, so that the condition number is never squared.
//
// Start reading at Minimize.
package levmar

import (
	"cmp"
	"context"
	"errors"
	"math"
)

// Func fills r with the residuals at x and, where jac is not nil, jac with
// their derivatives row by row: jac[i*len(x)+j] = dr[i]/dx[j]. It returns
// false where x is not allowed; Minimize then takes a shorter step.
type Func func(x, r, jac []float64) bool

// Options are the stopping rules of the search. A zero selects the default.
type Options struct {
	MaxIterations int     // Jacobians computed; default 200
	FTol          float64 // relative reduction of the sum, default 1e-14
	XTol          float64 // relative size of a step, default 1e-12
	Polish        int     // largest number of undamped steps at the end, for the last digits; default none
}

// Result is the place where the search ended.
type Result struct {
	X          []float64
	Sum        float64 // of the squares of the residuals
	Iterations int
	Converged  bool
}

// ErrStart is returned if the residuals or their derivatives at the start are
// not finite, or the start is not allowed.
var ErrStart = errors.New("the residuals at the start are not finite or not allowed")

// Minimize searches from x0, which is not modified, for a minimum of the sum of
// the m squared residuals of f. At most 63 parameters are allowed, else it
// panics; without parameters the result is x0. If the iterations run out,
// Converged is false and the error nil. The errors are ErrStart and, at the next
// call of f after ctx has ended, that of ctx.
//
// Source: Marquardt 1963, J. SIAM 11, 431; the scaling by the largest column
// norms so far and the test of step by the ratio of actual to predicted
// reduction after More 1978, Lecture Notes in Mathematics 630, 105; the rule
// for the damping after Nielsen 1999, IMM-REP-1999-05 (from memory).
func Minimize(ctx context.Context, f Func, x0 []float64, m int, o Options) (Result, error) {
	live := func(x, r, jac []float64) bool { return ctx.Err() == nil && f(x, r, jac) }
	s := newSearch(live, x0, m, o)
	if !live(s.x, s.r, s.jac) || !finite(s.r) || !finite(s.jac) {
		return Result{X: s.x}, cmp.Or(ctx.Err(), ErrStart)
	}
	s.sum = square(s.r)
	for s.iterations < s.o.MaxIterations && !s.converged && s.sum > 0 && len(x0) > 0 {
		s.iterations++
		s.factor()
		if !s.step() {
			break
		}
		if !live(s.x, s.r, s.jac) || !finite(s.jac) {
			break
		}
	}
	if s.converged && s.sum > 0 && len(x0) > 0 {
		s.polish()
	}
	return Result{X: s.x, Sum: s.sum, Iterations: s.iterations, Converged: s.converged || s.sum == 0 || len(x0) == 0}, ctx.Err()
}

// search is the state of one call.
type search struct {
	f          Func
	o          Options
	m, n       int
	x, r, jac  []float64
	trial, rt  []float64
	work       []float64 // the Jacobian with the residuals as last column
	small      []float64 // its triangle over the damping
	scale      []float64 // largest column norms so far
	p          []float64
	sum        float64
	lambda, nu float64
	iterations int
	converged  bool
}

func newSearch(f Func, x0 []float64, m int, o Options) *search {
	n := len(x0)
	if o.MaxIterations <= 0 {
		o.MaxIterations = 200
	}
	if o.FTol <= 0 {
		o.FTol = 1e-14
	}
	if o.XTol <= 0 {
		o.XTol = 1e-12
	}
	buf := make([]float64, 2*n+2*m+m*n+m*(n+1)+2*n*(n+1)+2*n)
	cut := func(k int) []float64 {
		part := buf[:k:k]
		buf = buf[k:]
		return part
	}
	s := &search{f: f, o: o, m: m, n: n, lambda: 1e-4, nu: 2}
	s.x, s.trial, s.r, s.rt, s.jac = cut(n), cut(n), cut(m), cut(m), cut(m*n)
	s.work, s.small, s.scale, s.p = cut(m*(n+1)), cut(2*n*(n+1)), cut(n), cut(n)
	copy(s.x, x0)
	return s
}

// factor reduces the Jacobian, with the residuals as last column, to a triangle.
func (s *search) factor() {
	n := s.n
	for i := range s.m {
		row := s.work[i*(n+1) : (i+1)*(n+1)]
		copy(row, s.jac[i*n:(i+1)*n])
		row[n] = s.r[i]
	}
	triangle(s.work, s.m, n)
	for j := range n {
		norm := 0.0
		for i := range min(j+1, s.m) {
			norm = math.Hypot(norm, s.work[i*(n+1)+j])
		}
		s.scale[j] = max(s.scale[j], norm)
		if s.scale[j] == 0 {
			s.scale[j] = 1
		}
	}
}

// step moves to a smaller sum, with more and more damping; it returns false if
// it finds none.
func (s *search) step() bool {
	for range 60 {
		gain, slope := s.solve()
		size, length := s.propose()
		small := size <= s.o.XTol*(length+s.o.XTol)
		ratio := math.Inf(-1)
		if s.f(s.trial, s.rt, nil) && finite(s.rt) {
			ratio = (s.sum - square(s.rt)) / (gain + 2*slope)
		}
		if ratio > 1e-4 {
			s.accept(ratio, gain+2*slope, small)
			return true
		}
		if small || gain+2*slope <= s.o.FTol*s.sum {
			s.converged = true
			return false
		}
		s.lambda *= s.nu
		s.nu *= 2
	}
	return false
}

func (s *search) accept(ratio, predicted float64, small bool) {
	after := square(s.rt)
	s.converged = small || (predicted <= s.o.FTol*s.sum && s.sum-after <= s.o.FTol*s.sum)
	s.sum = after
	s.x, s.trial = s.trial, s.x
	s.r, s.rt = s.rt, s.r
	q := 2*ratio - 1
	s.lambda = max(s.lambda*max(1.0/10, 1-q*q*q), 1e-15)
	s.nu = 2
}

// polish takes undamped steps as long as each is shorter than the one before
// and the sum does not grow by more than rounding: near the minimum the steps
// still carry information when differences of the sum are lost in rounding.
func (s *search) polish() {
	before := math.Inf(1)
	s.lambda = 1e-15
	for range s.o.Polish {
		if !s.f(s.x, s.r, s.jac) || !finite(s.jac) {
			return
		}
		s.factor()
		s.solve()
		size, length := s.propose()
		if size >= before || size <= s.o.XTol*length || !s.f(s.trial, s.rt, nil) || !(square(s.rt) <= s.sum*(1+1e-12)) {
			return
		}
		before = size
		s.x, s.trial = s.trial, s.x
		s.sum = square(s.rt)
	}
}

// propose sets trial to x + p and returns the scaled sizes of p and x.
func (s *search) propose() (size, length float64) {
	for j, p := range s.p {
		s.trial[j] = s.x[j] + p
		size = math.Hypot(size, p*s.scale[j])
		length = math.Hypot(length, s.x[j]*s.scale[j])
	}
	return size, length
}

// solve finds the step p that minimises |J p + r|^2 + lambda |D p|^2. gain is
// |J p|^2 and slope lambda |D p|^2: gain + 2 slope is the predicted reduction
// of the sum.
func (s *search) solve() (gain, slope float64) {
	n, w := s.n, s.n+1
	clear(s.small)
	for i := range min(n, s.m) {
		copy(s.small[i*w+i:(i+1)*w], s.work[i*w+i:(i+1)*w])
	}
	for j := range n {
		s.small[(n+j)*w+j] = math.Sqrt(s.lambda) * s.scale[j]
	}
	triangle(s.small, 2*n, n)
	for i := n - 1; i >= 0; i-- {
		v := -s.small[i*w+n]
		for j := i + 1; j < n; j++ {
			v -= s.small[i*w+j] * s.p[j]
		}
		s.p[i] = v / s.small[i*w+i]
	}
	for i := range min(n, s.m) {
		v := 0.0
		for j := i; j < n; j++ {
			v += s.work[i*w+j] * s.p[j]
		}
		gain += v * v
	}
	for j, p := range s.p {
		slope += s.lambda * p * p * s.scale[j] * s.scale[j]
	}
	return gain, slope
}

// triangle reduces the first n columns of the rows by n+1 array a to an upper
// triangle by Householder reflections and applies them to the last column too.
// The values below the diagonal are left undefined.
//
// Source: Golub and Van Loan, Matrix Computations, sec. 5.2 (from memory).
func triangle(a []float64, rows, n int) {
	w := n + 1
	var dots [64]float64
	if w > len(dots) {
		panic("levmar: too many parameters")
	}
	for k := range min(n, rows) {
		norm2 := 0.0
		for i := k; i < rows; i++ {
			norm2 += a[i*w+k] * a[i*w+k]
		}
		if norm2 == 0 {
			continue
		}
		norm := math.Sqrt(norm2)
		head := a[k*w+k]
		if head > 0 {
			norm = -norm
		}
		lead := head - norm // v = (lead, the rest of the column)
		a[k*w+k] = lead
		d := dots[:w]
		clear(d[k+1:])
		for i := k; i < rows; i++ {
			row := a[i*w : i*w+w]
			v := row[k]
			for j := k + 1; j < w; j++ {
				d[j] += v * row[j]
			}
		}
		beta := -1 / (norm * lead)
		for j := k + 1; j < w; j++ {
			d[j] *= beta
		}
		for i := k; i < rows; i++ {
			row := a[i*w : i*w+w]
			v := row[k]
			for j := k + 1; j < w; j++ {
				row[j] -= v * d[j]
			}
		}
		a[k*w+k] = norm
	}
}

func square(r []float64) float64 {
	sum := 0.0
	for _, v := range r {
		sum += v * v
	}
	return sum
}

func finite(x []float64) bool {
	sum := 0.0
	for _, v := range x {
		sum += v * 0 // NaN for anything that is not finite
	}
	return sum == 0
}
