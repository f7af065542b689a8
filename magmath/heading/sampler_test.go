package heading

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/integrate/quad"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// medianTol and upperTol are what 2048 points leave open, in units of the
// standard deviation. The binomial scatter of a normal quantile would be
// sqrt(p(1-p)/2048) over the density there: 0.028 and 0.047. Well-spread points
// stay inside of it for one load; for several together, twice it is allowed.
const (
	medianTol = 0.028
	upperTol  = 0.047
)

// field is the disturbance that gives a heading error, the inverse of the rule.
func field(deg, h float64) float64 { return h * math.Sin(deg*degree) }

// Zero mean and equal spread: the horizontal part has the Rayleigh
// distribution, with the quantile sigma sqrt(-2 ln(1-p)); the magnitude is chi
// with three degrees of freedom.
func TestRayleigh(t *testing.T) {
	s := NewSampler(1)
	const sigma, h = 2.0, 40.0
	cov := magmath.Diagonal(sigma*sigma, sigma*sigma, sigma*sigma)
	e := s.Posterior(Load{Mean: r3.Vec{}, Cov: cov}, Mounting{HUT: h})
	equalWithin(t, "median", field(e.Estimate, h), sigma*math.Sqrt(-2*math.Log(0.5)), medianTol*sigma)
	equalWithin(t, "upper", field(e.Upper95, h), sigma*math.Sqrt(-2*math.Log(0.05)), upperTol*sigma)

	chi2 := distuv.ChiSquared{K: 3}
	q := s.Magnitude(r3.Vec{}, cov)
	equalWithin(t, "median magnitude", q.Estimate, sigma*math.Sqrt(chi2.Quantile(0.5)), medianTol*sigma)
	equalWithin(t, "upper magnitude", q.Upper95, sigma*math.Sqrt(chi2.Quantile(0.95)), upperTol*sigma)
	if all := s.Posterior(Load{Mean: r3.Vec{}, Cov: cov}, Mounting{HUT: h, TiltDeg: 90}); math.Abs(field(all.Upper95, h)-q.Upper95) > 1e-9 {
		t.Errorf("any attitude %g, magnitude %g", field(all.Upper95, h), q.Upper95)
	}
}

// A mean off zero and unequal, turned axes: the probability below the quantile
// by numeric integration must be 0.50 and 0.95. The slope of the probability is
// no more than that of a normal distribution, 0.4 and 0.103 a sigma.
func TestPosteriorByIntegration(t *testing.T) {
	s := NewSampler(1)
	const h = 100.0
	r := rand.New(rand.NewPCG(11, 0))
	for range 30 {
		m1, m2 := 4*r.NormFloat64(), 4*r.NormFloat64()
		s1, s2 := 0.2+r.Float64(), 0.2+2*r.Float64()
		sin, cos := math.Sincos(6 * r.Float64())
		turn := magmath.Mat3{{cos, -sin, 0}, {sin, cos, 0}, {0, 0, 1}}
		cov := magmath.Diagonal(s1*s1, s2*s2, 1).Turn(turn)
		e := s.Posterior(Load{Mean: turn.Apply(r3.Vec{X: m1, Y: m2, Z: 20}), Cov: cov}, Mounting{HUT: h})
		equalWithin(t, "median", insideCircle(field(e.Estimate, h), m1, m2, s1, s2), 0.50, 0.4*medianTol)
		equalWithin(t, "upper", insideCircle(field(e.Upper95, h), m1, m2, s1, s2), 0.95, 0.103*upperTol)
	}
}

// insideCircle is the probability that a normal vector with independent
// components lies within r of the origin.
func insideCircle(r, m1, m2, s1, s2 float64) float64 {
	first, second := distuv.Normal{Mu: m1, Sigma: s1}, distuv.Normal{Mu: m2, Sigma: s2}
	return quad.Fixed(func(angle float64) float64 {
		x, half := r*math.Sin(angle), r*math.Cos(angle)
		return first.Prob(x) * (second.CDF(half) - second.CDF(-half)) * half
	}, -math.Pi/2, math.Pi/2, 400, nil, 0)
}

// Loads together, tilted: against plain random draws of their own kind.
func TestWorstPosteriorByRandomDraws(t *testing.T) {
	draws := simtest.Trials(50000, 200000)
	s := NewSampler(3)
	combos := [][]int{{0}, {1}, {2}, {0, 1}, {1, 2}, {0, 1, 2}}
	const h = 1000.0
	r := rand.New(rand.NewPCG(21, 0))
	for _, tilt := range []float64{0, 25} {
		loads := make([]Load, 3)
		variance := 0.0
		for j := range loads {
			loads[j] = Load{Mean: r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}, Cov: randomCov(r, 3, 0.5)}
			variance += loads[j].Cov.Trace() / 3
		}
		e, _ := s.WorstPosterior(loads, combos, Mounting{HUT: h, TiltDeg: tilt})
		median, upper := plainDraws(r, draws, loads, combos, tilt)
		sigma := math.Sqrt(variance)
		equalWithin(t, "median", field(e.Estimate, h), median, 2*medianTol*sigma)
		equalWithin(t, "upper", field(e.Upper95, h), upper, 2*upperTol*sigma)
	}
}

// plainDraws uses a Cholesky factor, random numbers and the tilt rule in its
// trigonometric form, so that it shares nothing with the sampler.
func plainDraws(r *rand.Rand, n int, loads []Load, combos [][]int, tiltDeg float64) (median, upper float64) {
	values := make([]float64, n)
	d := make([]r3.Vec, len(loads))
	for i := range values {
		for j, l := range loads {
			d[j] = r3.Add(l.Mean, choleskyDraw(r, l.Cov))
		}
		for _, combo := range combos {
			var sum r3.Vec
			for _, j := range combo {
				sum = r3.Add(sum, d[j])
			}
			gamma := math.Atan2(math.Abs(sum.Z), math.Hypot(sum.X, sum.Y))
			values[i] = max(values[i], r3.Norm(sum)*math.Cos(max(0, gamma-tiltDeg*degree)))
		}
	}
	slices.Sort(values)
	return values[n/2], values[n*95/100]
}

func choleskyDraw(r *rand.Rand, c magmath.Mat3) r3.Vec {
	l00 := math.Sqrt(c[0][0])
	l10, l20 := c[1][0]/l00, c[2][0]/l00
	l11 := math.Sqrt(c[1][1] - l10*l10)
	l21 := (c[2][1] - l20*l10) / l11
	l22 := math.Sqrt(c[2][2] - l20*l20 - l21*l21)
	a, b, e := r.NormFloat64(), r.NormFloat64(), r.NormFloat64()
	return r3.Vec{X: l00 * a, Y: l10*a + l11*b, Z: l20*a + l21*b + l22*e}
}

// Two motors of 2 microtesla each make 4, not 2; turned against each other they
// make 2 at most, with one of them running.
func TestTwoMotors(t *testing.T) {
	s := NewSampler(1) // grows to two
	const h = 18.0
	combos := [][]int{{0}, {1}, {0, 1}}
	along := []Load{{Mean: r3.Vec{Y: 2}}, {Mean: r3.Vec{Y: 2}}}
	e, worst := s.WorstPosterior(along, combos, Mounting{HUT: h})
	equalWithin(t, "along", e.Estimate, math.Asin(4/h)/degree, 1e-9)
	equalWithin(t, "along, upper", e.Upper95, math.Asin(4/h)/degree, 1e-9)
	if !slices.Equal(worst, []int{0, 1}) {
		t.Errorf("worst combination %v", worst)
	}
	against := []Load{{Mean: r3.Vec{Y: 2}}, {Mean: r3.Vec{Y: -2.1}}}
	e, worst = s.WorstPosterior(against, combos, Mounting{HUT: h})
	equalWithin(t, "against", e.Estimate, math.Asin(2.1/h)/degree, 1e-9)
	if !slices.Equal(worst, []int{1}) {
		t.Errorf("worst combination %v", worst)
	}
	e, worst = s.WorstPosterior(along, [][]int{{1}, {0}}, Mounting{HUT: h})
	equalWithin(t, "excluding", e.Estimate, math.Asin(2/h)/degree, 1e-9)
	if !slices.Equal(worst, []int{1}) {
		t.Errorf("the first of equals is not given: %v", worst)
	}
}

func TestSamplerSpecialCases(t *testing.T) {
	s := NewSampler(2)
	cov := magmath.Diagonal(1, 1, 1)
	nan, inf := math.NaN(), math.Inf(1)

	if e := s.Posterior(Load{Mean: r3.Vec{X: 20}, Cov: cov}, Mounting{HUT: 18}); !e.AnyDirection || e.Estimate != 180 || e.Upper95 != 180 {
		t.Errorf("estimate over H: %+v", e)
	}
	if e := s.Posterior(Load{Mean: r3.Vec{X: 17}, Cov: cov}, Mounting{HUT: 18}); e.AnyDirection || e.Upper95 != 180 || !(e.Estimate < 90) {
		t.Errorf("upper bound over H alone: %+v", e)
	}
	e := s.Posterior(Load{Mean: r3.Vec{X: 3, Z: 9}, Cov: magmath.Mat3{}}, Mounting{HUT: 18})
	equalWithin(t, "known exactly", e.Estimate, math.Asin(3.0/18)/degree, 1e-12)
	equalWithin(t, "known exactly, upper", e.Upper95, math.Asin(3.0/18)/degree, 1e-12)
	rounding := magmath.Diagonal(1, -1e-12, -1e-12)
	if e := s.Posterior(Load{Mean: r3.Vec{X: 3}, Cov: rounding}, Mounting{HUT: 18}); !(e.Upper95 > e.Estimate) {
		t.Errorf("negative eigenvalue of rounding: %+v", e)
	}
	for _, bad := range []Error{
		s.Posterior(Load{Mean: r3.Vec{X: nan}, Cov: cov}, Mounting{HUT: 18}),
		s.Posterior(Load{Mean: r3.Vec{Y: inf}, Cov: cov}, Mounting{HUT: 18}),
		s.Posterior(Load{Mean: r3.Vec{}, Cov: magmath.Diagonal(1, nan, 1)}, Mounting{HUT: 18}),
		s.Posterior(Load{Mean: r3.Vec{}, Cov: cov}, Mounting{HUT: nan}),
		s.Posterior(Load{Mean: r3.Vec{}, Cov: cov}, Mounting{HUT: 18, TiltDeg: nan}),
	} {
		if !math.IsNaN(bad.Estimate) || !math.IsNaN(bad.Upper95) || bad.AnyDirection {
			t.Errorf("not a number in, %+v out", bad)
		}
	}
	if q := s.Magnitude(r3.Vec{Z: nan}, cov); !math.IsNaN(q.Upper95) {
		t.Errorf("magnitude %+v", q)
	}
	if e, worst := s.WorstPosterior(nil, nil, Mounting{HUT: 18}); e != (Error{}) || worst != nil {
		t.Errorf("nothing on: %+v, %v", e, worst)
	}
	unlisted := []Load{{Mean: r3.Vec{X: 1}}, {Mean: r3.Vec{X: nan}}}
	if e, _ := s.WorstPosterior(unlisted, [][]int{{0}}, Mounting{HUT: 18}); math.IsNaN(e.Estimate) {
		t.Errorf("an unlisted load is looked at: %+v", e)
	}
	if e, _ := s.WorstPosterior(unlisted, [][]int{{0}, {1}}, Mounting{HUT: 18}); !math.IsNaN(e.Estimate) {
		t.Errorf("not a number in, %+v out", e)
	}
}

func TestUnknownLoadPanics(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	NewSampler(1).WorstPosterior([]Load{{}}, [][]int{{1}}, Mounting{HUT: 18})
}

// The single load is one combination of one; the package functions are the
// sampler's; equal input gives equal output, near input near output.
func TestConsistency(t *testing.T) {
	s := NewSampler(2)
	mean, cov := r3.Vec{X: 1, Y: -2, Z: 3}, randomCov(rand.New(rand.NewPCG(4, 0)), 3, 0.7)
	one := s.Posterior(Load{Mean: mean, Cov: cov}, Mounting{HUT: 18, TiltDeg: 15})
	other, worst := s.WorstPosterior([]Load{{Mean: mean, Cov: cov}}, [][]int{{0}}, Mounting{HUT: 18, TiltDeg: 15})
	if one != other || one != Posterior(Load{Mean: mean, Cov: cov}, Mounting{HUT: 18, TiltDeg: 15}) || !slices.Equal(worst, []int{0}) {
		t.Errorf("%+v and %+v, %v", one, other, worst)
	}
	moved := s.Posterior(Load{Mean: r3.Add(mean, r3.Vec{X: 1e-9}), Cov: cov.Add(magmath.Diagonal(1e-9, 0, 0))}, Mounting{HUT: 18, TiltDeg: 15})
	equalWithin(t, "moved", moved.Upper95, one.Upper95, 1e-6)
}

// More spread, more tilt or less H never make a bound smaller, and a bound is
// never below the estimate.
func TestMonotonic(t *testing.T) {
	s := NewSampler(1)
	r := rand.New(rand.NewPCG(9, 0))
	for range 40 {
		mean := r3.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: 3 * r.NormFloat64()}
		cov := randomCov(r, 3, 0.5)
		e := s.Posterior(Load{Mean: mean, Cov: cov}, Mounting{HUT: 18, TiltDeg: 10})
		if e.Upper95 < e.Estimate {
			t.Errorf("upper %g below estimate %g", e.Upper95, e.Estimate)
		}
		for what, larger := range map[string]Error{
			"spread": s.Posterior(Load{Mean: mean, Cov: cov.Scale(1.5)}, Mounting{HUT: 18, TiltDeg: 10}),
			"tilt":   s.Posterior(Load{Mean: mean, Cov: cov}, Mounting{HUT: 18, TiltDeg: 20}),
			"less H": s.Posterior(Load{Mean: mean, Cov: cov}, Mounting{HUT: 15, TiltDeg: 10}),
		} {
			if larger.Upper95 < e.Upper95 {
				t.Errorf("%s: upper %g falls to %g", what, e.Upper95, larger.Upper95)
			}
		}
		if q := s.Magnitude(mean, cov); q.Upper95 < field(e.Upper95, 18) {
			t.Errorf("horizontal part %g over magnitude %g", field(e.Upper95, 18), q.Upper95)
		}
	}
}

func TestNoAllocation(t *testing.T) {
	s := NewSampler(2)
	loads := []Load{{Mean: r3.Vec{X: 1}, Cov: magmath.Identity()}, {Mean: r3.Vec{Y: 1}, Cov: magmath.Identity()}}
	combos := [][]int{{0}, {1}, {0, 1}}
	if n := testing.AllocsPerRun(20, func() { s.WorstPosterior(loads, combos, Mounting{HUT: 18}) }); n != 0 {
		t.Errorf("%g allocations a call", n)
	}
}

func BenchmarkPosterior(b *testing.B) {
	s, cov := NewSampler(1), magmath.Diagonal(0.3, 0.4, 0.5)
	x := 0.0
	b.ReportAllocs()
	for b.Loop() {
		s.Posterior(Load{Mean: r3.Vec{X: x, Y: 2, Z: 3}, Cov: cov}, Mounting{HUT: 18})
		x += 0.001
	}
}

func BenchmarkWorstPosterior(b *testing.B) {
	s := NewSampler(2)
	cov := magmath.Diagonal(0.3, 0.4, 0.5)
	loads := []Load{{Mean: r3.Vec{X: 1, Y: 2, Z: 3}, Cov: cov}, {Mean: r3.Vec{X: -1, Y: 2, Z: 3}, Cov: cov}}
	combos := [][]int{{0}, {1}, {0, 1}}
	b.ReportAllocs()
	for b.Loop() {
		s.WorstPosterior(loads, combos, Mounting{HUT: 18})
		loads[0].Mean.X += 0.001
	}
}

func BenchmarkMagnitude(b *testing.B) {
	s, cov := NewSampler(1), magmath.Diagonal(0.3, 0.4, 0.5)
	for b.Loop() {
		s.Magnitude(r3.Vec{X: 1, Y: 2, Z: 3}, cov)
	}
}

func BenchmarkNewSampler(b *testing.B) {
	for b.Loop() {
		NewSampler(2)
	}
}

// A slip that is not a number makes the error none, whatever combination it is in.
func TestSlipThatIsNoNumber(t *testing.T) {
	slip := make([]r3.Vec, SlipPlaces)
	slip[7] = r3.Vec{X: math.NaN()}
	loads := []Load{{Mean: r3.Vec{X: 1}}, {Mean: r3.Vec{Y: 1}, Slip: slip}}
	s, m := NewSampler(2), Mounting{HUT: 20, TiltDeg: 10, SlipMM: 3}
	for _, combos := range [][][]int{{{1}}, {{0, ^1}}, {{0}, {0, 1}}} {
		if e, _ := s.WorstPosterior(loads, combos, m); !math.IsNaN(e.Estimate) || !math.IsNaN(e.Upper95) {
			t.Errorf("%v: %+v", combos, e)
		}
		if x := s.Expected(loads, combos, m); !math.IsNaN(x) {
			t.Errorf("%v: %g expected", combos, x)
		}
	}
	if e, _ := s.WorstPosterior(loads, [][]int{{0}}, m); math.IsNaN(e.Estimate) {
		t.Error("a load that is not on counts")
	}
}
