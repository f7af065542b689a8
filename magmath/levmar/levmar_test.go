package levmar

import (
	"context"
	"errors"
	"math"
	"testing"
)

// problem is one data set of the NIST Statistical Reference Datasets,
// nonlinear regression (https://www.itl.nist.gov/div898/strd/).
type problem struct {
	name      string
	y, x      []float64
	model     func(b []float64, x float64) (y float64, grad []float64)
	starts    [][]float64
	certified []float64
	rss       float64
	digits    float64 // that every parameter must agree to
}

// agree is the number of digits two numbers share.
func agree(got, want float64) float64 {
	if got == want {
		return 15
	}
	return -math.Log10(math.Abs(got-want) / math.Abs(want))
}

func TestCertifiedDigits(t *testing.T) {
	for _, p := range []problem{misra1a(), danWood(), thurber()} {
		for i, start := range p.starts {
			res, err := Minimize(t.Context(), p.residuals, start, len(p.y), Options{Polish: 20})
			if err != nil || !res.Converged {
				t.Errorf("%s start %d: converged %v, %v", p.name, i+1, res.Converged, err)
				continue
			}
			for j, want := range p.certified {
				if d := agree(res.X[j], want); d < p.digits {
					t.Errorf("%s start %d: b%d = %.11g, certified %.11g: %.1f digits, want %g", p.name, i+1, j+1, res.X[j], want, d, p.digits)
				}
			}
			if d := agree(res.Sum, p.rss); d < p.digits {
				t.Errorf("%s start %d: sum of squares %.11g, certified %.11g", p.name, i+1, res.Sum, p.rss)
			}
			t.Logf("%s start %d: %d iterations", p.name, i+1, res.Iterations)
		}
	}
}

func (p problem) residuals(b, r, jac []float64) bool {
	for i, x := range p.x {
		y, grad := p.model(b, x)
		r[i] = y - p.y[i]
		if jac != nil {
			copy(jac[i*len(b):], grad)
		}
	}
	return true
}

// The gradients of the three models are checked too, away from any optimum.
func TestModelGradients(t *testing.T) {
	for _, p := range []problem{misra1a(), danWood(), thurber()} {
		b := p.starts[1]
		x := p.x[len(p.x)/3]
		_, grad := p.model(b, x)
		for j := range b {
			h := 1e-6 * math.Abs(b[j])
			up, down := append([]float64{}, b...), append([]float64{}, b...)
			up[j] += h
			down[j] -= h
			yu, _ := p.model(up, x)
			yd, _ := p.model(down, x)
			if want := (yu - yd) / (2 * h); math.Abs(grad[j]-want) > 1e-6*math.Abs(want) {
				t.Errorf("%s: derivative %d is %g, by differences %g", p.name, j, grad[j], want)
			}
		}
	}
}

func TestMinimizeEdges(t *testing.T) {
	line := func(x, r, jac []float64) bool {
		r[0], r[1] = x[0]-3, x[0]-5
		if jac != nil {
			jac[0], jac[1] = 1, 1
		}
		return true
	}
	start := []float64{100}
	res, err := Minimize(t.Context(), line, start, 2, Options{})
	if err != nil || math.Abs(res.X[0]-4) > 1e-12 || math.Abs(res.Sum-2) > 1e-12 || start[0] != 100 {
		t.Errorf("mean of 3 and 5: %v %g (%v), start now %v", res.X, res.Sum, err, start)
	}
	// Two parameters of which only the sum is seen: the damping keeps it finite.
	flat := func(x, r, jac []float64) bool {
		r[0], r[1], r[2] = x[0]+x[1]-1, x[0]+x[1]-2, x[0]+x[1]-3
		if jac != nil {
			for i := range jac {
				jac[i] = 1
			}
		}
		return true
	}
	res, err = Minimize(t.Context(), flat, []float64{7, -1}, 3, Options{})
	if err != nil || math.Abs(res.X[0]+res.X[1]-2) > 1e-9 {
		t.Errorf("only the sum is seen: %v (%v)", res.X, err)
	}
	fenced := func(x, r, jac []float64) bool {
		r[0] = x[0] + 5
		if jac != nil {
			jac[0] = 1
		}
		return x[0] >= 1
	}
	res, err = Minimize(t.Context(), fenced, []float64{2}, 1, Options{MaxIterations: 500})
	if err != nil || res.X[0] < 1 || res.X[0] > 1.01 {
		t.Errorf("a fence at 1 stops at %v (%v)", res.X, err)
	}
	if _, err := Minimize(t.Context(), fenced, []float64{0}, 1, Options{}); !errors.Is(err, ErrStart) {
		t.Errorf("a start that is not allowed: %v", err)
	}
	if _, err := Minimize(t.Context(), line, []float64{math.NaN()}, 2, Options{}); !errors.Is(err, ErrStart) {
		t.Errorf("a start that is no number: %v", err)
	}
	none, err := Minimize(t.Context(), func(_, r, _ []float64) bool { r[0] = 2; return true }, nil, 1, Options{})
	if err != nil || none.Sum != 4 || !none.Converged {
		t.Errorf("without parameters: %+v %v", none, err)
	}
}

func BenchmarkThurber(b *testing.B) {
	p := thurber()
	for b.Loop() {
		if _, err := Minimize(b.Context(), p.residuals, p.starts[0], len(p.y), Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

func TestMinimizeEndsWithItsContext(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	calls := 0
	f := func(x, r, jac []float64) bool {
		if calls++; calls == 3 {
			cancel()
		}
		r[0], r[1] = 10*(x[1]-x[0]*x[0]), 1-x[0]
		if jac != nil {
			copy(jac, []float64{-20 * x[0], 10, -1, 0})
		}
		return true
	}
	if r, err := Minimize(ctx, f, []float64{-1.2, 1}, 2, Options{}); err != context.Canceled || calls != 3 || len(r.X) != 2 {
		t.Errorf("%v after %d calls at %v", err, calls, r.X)
	}
	if _, err := Minimize(ctx, f, []float64{-1.2, 1}, 2, Options{}); err != context.Canceled {
		t.Errorf("of a context that has ended: %v", err)
	}
}
