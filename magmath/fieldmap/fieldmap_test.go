package fieldmap

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/diff/fd"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// dipoleUT is the textbook field of a dipole (A m2) in microtesla at d mm
// from it: mu0/(4 pi r^3) (3 (m.r^) r^ - m).
// Source: D. J. Griffiths, Introduction to Electrodynamics, 4th ed., eq. 5.89
// (from memory).
func dipoleUT(m, d r3.Vec) r3.Vec {
	r := r3.Norm(d)
	u := r3.Scale(1/r, d)
	// 1e-7 T m/A, mm to m cubed 1e9, T to uT 1e6.
	return r3.Scale(1e8/(r*r*r), r3.Sub(r3.Scale(3*r3.Dot(m, u), u), m))
}

type dipole struct{ at, m r3.Vec }

// craft is an invented one: three dipoles 30 to 70 mm under a grid of 55 mm.
func craft(rng *rand.Rand) ([]dipole, []r3.Vec) {
	var ds []dipole
	for range 3 {
		ds = append(ds, dipole{
			at: r3.Vec{X: 400*rng.Float64() - 200, Y: 250*rng.Float64() - 125, Z: 30 + 40*rng.Float64()},
			m:  r3.Vec{X: .05 * rng.NormFloat64(), Y: .05 * rng.NormFloat64(), Z: .05 * rng.NormFloat64()},
		})
	}
	var at []r3.Vec
	for i := range 8 {
		for j := range 5 {
			at = append(at, r3.Vec{X: float64(i)*55 - 192, Y: float64(j)*55 - 110})
		}
	}
	return ds, at
}

func field(ds []dipole, p r3.Vec) r3.Vec {
	var b r3.Vec
	for _, d := range ds {
		b = r3.Add(b, dipoleUT(d.m, r3.Sub(p, d.at)))
	}
	return b
}

func measure(rng *rand.Rand, ds []dipole, at []r3.Vec, sd float64) magmath.Readings {
	d := magmath.Readings{At: at}
	blocks := make([]magmath.Mat3, len(at))
	for i, p := range at {
		n := r3.Vec{X: sd * rng.NormFloat64(), Y: sd * rng.NormFloat64(), Z: sd * rng.NormFloat64()}
		d.B = append(d.B, r3.Add(field(ds, p), n))
		blocks[i] = magmath.Diagonal(sd*sd, sd*sd, sd*sd)
	}
	d.Noise = magmath.BlockNoise(blocks)
	return d
}

// Two stations and independent components: the posterior is that of a
// bivariate normal, written out by hand.
func TestTwoStationsInClosedForm(t *testing.T) {
	k := Smooth{LogSD: math.Log(2), LogLength: math.Log(40)}
	p, q, x := r3.Vec{}, r3.Vec{X: 30}, r3.Vec{X: 12, Y: 5}
	noise := 0.25
	d := magmath.Readings{At: []r3.Vec{p, q}, B: []r3.Vec{{X: 1, Y: -2, Z: 3}, {X: 2, Z: -1}},
		Noise: magmath.BlockNoise([]magmath.Mat3{magmath.Diagonal(noise, noise, noise), magmath.Diagonal(noise, noise, noise)})}
	m, err := Condition(t.Context(), d, k)
	if err != nil {
		t.Fatal(err)
	}
	mean, cov := m.At(x)
	cc := func(a, b r3.Vec) float64 {
		r := math.Sqrt(5) * math.Hypot(a.X-b.X, a.Y-b.Y) / 40
		return 4 * (1 + r + r*r/3) * math.Exp(-r)
	}
	a, b, u, v := 4+noise, cc(p, q), cc(x, p), cc(x, q)
	det := a*a - b*b
	wp, wq := (a*u-b*v)/det, (a*v-b*u)/det
	for i, want := range []float64{wp*1 + wq*2, wp * -2, wp*3 + wq*-1} {
		if got := []float64{mean.X, mean.Y, mean.Z}[i]; math.Abs(got-want) > 1e-8 {
			t.Errorf("component %d: mean %.10f, by hand %.10f", i, got, want)
		}
		if want := 4 - wp*u - wq*v; math.Abs(cov[i][i]-want) > 1e-8 {
			t.Errorf("component %d: variance %.10f, by hand %.10f", i, cov[i][i], want)
		}
	}
}

// K is minus the second derivatives, by p and by q, of the harmonic potential
// covariance c/|p - q'|: B = -grad V makes cov(B_i, B_j) = d2/dp_i dq_j.
func TestMirroredIsTheDerivativeOfItsPotential(t *testing.T) {
	m := Mirrored{SurfaceZMM: 3, LogSD: math.Log(1.3), LogDepth: math.Log(37)}
	p, q := r3.Vec{X: 12, Y: -31, Z: -4}, r3.Vec{X: -25, Y: 8, Z: -19}
	c := 1.3 * 1.3 * 8 * 37 * 37 * 37
	potential := func(x []float64) float64 {
		return c / math.Sqrt((x[0]-x[3])*(x[0]-x[3])+(x[1]-x[4])*(x[1]-x[4])+(x[2]+x[5]-2*40)*(x[2]+x[5]-2*40))
	}
	at := []float64{p.X, p.Y, p.Z, q.X, q.Y, q.Z}
	h := mat.NewSymDense(6, nil)
	fd.Hessian(h, potential, at, &fd.Settings{Formula: fd.Formula{Stencil: fd.Central.Stencil, Derivative: 1, Step: 1e-2}})
	k := m.K(p, q)
	scale := math.Abs(k[0][0]) + math.Abs(k[1][1]) + math.Abs(k[2][2])
	for i := range 3 {
		for j := range 3 {
			// A central difference with a step of 0.01 mm at 60 mm: about 1e-6.
			if want := h.At(i, 3+j); math.Abs(k[i][j]-want) > 1e-5*scale {
				t.Errorf("K[%d][%d] = %g, finite differences %g", i, j, k[i][j], want)
			}
		}
	}
	if k != m.K(q, p).Transpose() {
		t.Error("K(p,q) is not the transpose of K(q,p)")
	}
	own := m.K(r3.Vec{Z: 3}, r3.Vec{Z: 3})
	if math.Abs(own[0][0]-1.69) > 1e-12 || math.Abs(own[2][2]-2*1.69) > 1e-12 {
		t.Errorf("at the level the standard deviation is not the stated one: %v", own)
	}
}

func TestMirroredHasNeitherCurlNorDivergence(t *testing.T) {
	m := Mirrored{LogSD: 0, LogDepth: math.Log(40)}
	q := r3.Vec{X: 10, Y: 20, Z: -5}
	const h = 1e-2
	p := r3.Vec{X: -7, Y: 13, Z: -11}
	var grad [3]magmath.Mat3 // by p_i of K
	for i, e := range []r3.Vec{{X: h}, {Y: h}, {Z: h}} {
		grad[i] = m.K(r3.Add(p, e), q).Add(m.K(r3.Sub(p, e), q).Scale(-1)).Scale(1 / (2 * h))
	}
	for j := range 3 {
		div := grad[0][0][j] + grad[1][1][j] + grad[2][2][j]
		curl := []float64{grad[1][2][j] - grad[2][1][j], grad[2][0][j] - grad[0][2][j], grad[0][1][j] - grad[1][0][j]}
		for _, v := range append(curl, div) {
			if math.Abs(v) > 1e-7 {
				t.Errorf("column %d: curl %v, divergence %g", j, curl, div)
			}
		}
	}
}

// K is d2/dp_i dq_j of the potential's covariance (s l)^2 exp(-|p-q|^2/(2 l^2)),
// and its columns, as fields of p, have no curl.
func TestCurlFreeIsTheDerivativeOfItsPotential(t *testing.T) {
	c := CurlFree{LogSD: math.Log(1.3), LogLength: math.Log(45)}
	p, q := r3.Vec{X: 12, Y: -31, Z: -4}, r3.Vec{X: -25, Y: 8, Z: -19}
	potential := func(x []float64) float64 {
		d2 := (x[0]-x[3])*(x[0]-x[3]) + (x[1]-x[4])*(x[1]-x[4]) + (x[2]-x[5])*(x[2]-x[5])
		return 1.3 * 1.3 * 45 * 45 * math.Exp(-d2/(2*45*45))
	}
	h := mat.NewSymDense(6, nil)
	fd.Hessian(h, potential, []float64{p.X, p.Y, p.Z, q.X, q.Y, q.Z}, &fd.Settings{Formula: fd.Formula{Stencil: fd.Central.Stencil, Derivative: 1, Step: 1e-2}})
	k := c.K(p, q)
	for i := range 3 {
		for j := range 3 {
			if want := h.At(i, 3+j); math.Abs(k[i][j]-want) > 1e-5 {
				t.Errorf("K[%d][%d] = %g, finite differences %g", i, j, k[i][j], want)
			}
		}
	}
	const step = 1e-2
	var grad [3]magmath.Mat3
	for i, e := range []r3.Vec{{X: step}, {Y: step}, {Z: step}} {
		grad[i] = c.K(r3.Add(p, e), q).Add(c.K(r3.Sub(p, e), q).Scale(-1)).Scale(1 / (2 * step))
	}
	for j := range 3 {
		for _, v := range []float64{grad[1][2][j] - grad[2][1][j], grad[2][0][j] - grad[0][2][j], grad[0][1][j] - grad[1][0][j]} {
			if math.Abs(v) > 1e-7 {
				t.Errorf("column %d: curl %g", j, v)
			}
		}
	}
}

func TestSlopesByFiniteDifferences(t *testing.T) {
	p, q := r3.Vec{X: 12, Y: -31, Z: -4}, r3.Vec{X: -25, Y: 8, Z: -19}
	for _, k := range []Kernel{
		Smooth{0.3, 3.7},
		CurlFree{0.3, 3.7},
		Mirrored{2, 0.4, 3.5},
		Sum{Mirrored{2, 0.4, 3.5}, Smooth{-1, 3}},
	} {
		params := k.Params()
		got := make([]magmath.Mat3, len(params))
		k.Slopes(p, q, got)
		for s := range params {
			for i := range 3 {
				for j := range 3 {
					want := fd.Derivative(func(x float64) float64 {
						v := append([]float64(nil), params...)
						v[s] = x
						return k.With(v).K(p, q)[i][j]
					}, params[s], &fd.Settings{Formula: fd.Central})
					if math.Abs(got[s][i][j]-want) > 1e-7*(1+math.Abs(want)) {
						t.Errorf("%s: slope %d [%d][%d] = %g, finite differences %g", k.Name(), s, i, j, got[s][i][j], want)
					}
				}
			}
		}
	}
}

func TestObjectiveGradientByFiniteDifferences(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 0))
	ds, at := craft(rng)
	d := measure(rng, ds, at[:12], 0.3)
	for _, c := range WithSources(Candidates(d, 55, 0), []Source{magnetAt(ds[0].at), magnetAt(ds[1].at)}) {
		x := c.params()
		for i := range x {
			x[i] += 0.2 - 0.1*float64(i)
		}
		o := newObjective(d, c)
		want := fd.Gradient(nil, o.at, x, &fd.Settings{Formula: fd.Central})
		slope := make([]float64, len(x))
		o.gradient(slope, x)
		for i, got := range slope {
			if math.Abs(got-want[i]) > 1e-4*(1+math.Abs(want[i])) {
				t.Errorf("%s: slope %d = %g, finite differences %g", c.Kernel.Name(), i, got, want[i])
			}
		}
	}
}

// The closed form against leaving each station out for real.
func TestLeaveOneOutAgreesWithLeavingOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 0))
	ds, at := craft(rng)
	d := measure(rng, ds, at[:10], 0.3)
	k := Mirrored{0, math.Log(5), math.Log(40)}
	m, err := Condition(t.Context(), d, k)
	if err != nil {
		t.Fatal(err)
	}
	loo := m.LeaveOneOut()
	for out := range d.At {
		rest := magmath.Readings{}
		var blocks []magmath.Mat3
		for i := range d.At {
			if i != out {
				rest.At, rest.B = append(rest.At, d.At[i]), append(rest.B, d.B[i])
				blocks = append(blocks, magmath.Diagonal(.09, .09, .09))
			}
		}
		rest.Noise = magmath.BlockNoise(blocks)
		r, err := Condition(t.Context(), rest, k)
		if err != nil {
			t.Fatal(err)
		}
		mean, cov := r.At(d.At[out])
		if diff := r3.Norm(r3.Sub(r3.Sub(d.B[out], mean), loo.Residual[out])); diff > 1e-5 {
			t.Errorf("station %d: residual differs by %g", out, diff)
		}
		if diff := math.Abs(cov[2][2] + .09 - loo.Cov[out][2][2]); diff > 1e-5 {
			t.Errorf("station %d: variance differs by %g", out, diff)
		}
	}
}

// magnetAt is a magnet at a known place with a moment of about 0.05 A m2.
func magnetAt(at r3.Vec) Source {
	return Source{Name: "magnet", LogSD: math.Log(0.05), Fields: func(p r3.Vec) []r3.Vec {
		d := r3.Sub(p, at)
		return []r3.Vec{dipoleUT(r3.Vec{X: 1}, d), dipoleUT(r3.Vec{Y: 1}, d), dipoleUT(r3.Vec{Z: 1}, d)}
	}}
}

// All magnets at known places and nothing else: the map is theirs, and the
// moments come back.
func TestNamedSourcesCarryTheMap(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 0))
	ds, at := craft(rng)
	d := measure(rng, ds, at, 0.1)
	var sources []Source
	for _, m := range ds {
		sources = append(sources, magnetAt(m.at))
	}
	with, err := Fit(t.Context(), d, WithSources(Candidates(d, 55, 0), sources))
	if err != nil {
		t.Fatal(err)
	}
	without, err := Fit(t.Context(), d, Candidates(d, 55, 0))
	if err != nil {
		t.Fatal(err)
	}
	if len(with.Sources) != 3 {
		t.Fatalf("chosen: %s", with.Name())
	}
	for i, m := range ds {
		got := r3.Vec{X: with.times[3*i], Y: with.times[3*i+1], Z: with.times[3*i+2]}
		if e := r3.Norm(r3.Sub(got, m.m)); e > 0.02*r3.Norm(m.m)+1e-3 {
			t.Errorf("magnet %d: moment %v, truth %v", i, got, m.m)
		}
	}
	var a, b []float64
	var points []r3.Vec
	for range 100 {
		points = append(points, r3.Vec{X: 385*rng.Float64() - 192, Y: 220*rng.Float64() - 110})
	}
	mean, cov := with.Predict(points)
	inside := 0
	for i, p := range points {
		e := r3.Sub(mean[i], field(ds, p))
		a, b = append(a, r3.Norm(e)), append(b, r3.Norm(r3.Sub(without.Mean(p), field(ds, p))))
		if math.Abs(e.Z) < 1.96*math.Sqrt(cov[i][2][2]) {
			inside++
		}
		if d := r3.Norm(r3.Sub(mean[i], with.Mean(p))); d > 1e-6*(1+r3.Norm(mean[i])) {
			t.Errorf("two ways to the mean differ by %g", d)
		}
	}
	t.Logf("rms %.3f uT with the sources, %.3f without; %d of 100 inside", rms(a), rms(b), inside)
	if rms(a) > 0.3*rms(b) {
		t.Errorf("named sources hardly help: %.3f against %.3f uT", rms(a), rms(b))
	}
	if inside < 85 {
		t.Errorf("%d of 100 inside their 95 %% interval", inside)
	}
}

// Simulated craft: the map's intervals hold between the stations, the check
// of itself is honest, and the harmonic covariance beats the smooth one.
func TestMapOverSimulatedCraft(t *testing.T) {
	crafts := simtest.Trials(4, 12)
	var inside, count, looInside, looCount float64
	var chosen, smooth []float64
	for seed := range crafts {
		rng := rand.New(rand.NewPCG(uint64(seed), 3))
		ds, at := craft(rng)
		d := measure(rng, ds, at, 0.3)
		all := Candidates(d, 55, 0)
		m, err := Fit(t.Context(), d, all)
		if err != nil {
			t.Fatal(err)
		}
		yard, err := Fit(t.Context(), d, all[:1])
		if err != nil {
			t.Fatal(err)
		}
		loo := m.LeaveOneOut()
		looInside += loo.Inside95Fraction * float64(len(at))
		looCount += float64(len(at))
		for range 150 {
			p := r3.Vec{X: 385*rng.Float64() - 192, Y: 220*rng.Float64() - 110}
			truth := field(ds, p)
			mean, cov := m.At(p)
			e := r3.Sub(mean, truth)
			for i, x := range []float64{e.X, e.Y, e.Z} {
				count++
				if math.Abs(x) < 1.96*math.Sqrt(cov[i][i]) {
					inside++
				}
			}
			chosen = append(chosen, r3.Norm(e))
			smooth = append(smooth, r3.Norm(r3.Sub(yard.Mean(p), truth)))
		}
	}
	f, l := inside/count, looInside/looCount
	rc, rs := rms(chosen), rms(smooth)
	t.Logf("inside 95 %%: %.1f %% of %.0f components, leave-one-out %.1f %%; rms %.2f uT, smooth alone %.2f", 100*f, count, 100*l, rc, rs)
	if f < 0.90 || f > 0.99 {
		t.Errorf("coverage %.3f", f)
	}
	if l < 0.90 {
		t.Errorf("leave-one-out coverage %.3f", l)
	}
	if rc > 0.8*rs {
		t.Errorf("the chosen map (%.2f uT) is hardly better than the yardstick (%.2f)", rc, rs)
	}
}

func rms(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return math.Sqrt(s / float64(len(x)))
}

func TestJointAgreesWithPredict(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 0))
	ds, at := craft(rng)
	m, err := Condition(t.Context(), measure(rng, ds, at, 0.3), Mirrored{0, 2, math.Log(40)})
	if err != nil {
		t.Fatal(err)
	}
	var points []r3.Vec
	for range 100 { // more than one batch
		points = append(points, r3.Vec{X: 300*rng.Float64() - 150, Y: 200*rng.Float64() - 100, Z: -20 * rng.Float64()})
	}
	mean, cov := m.Predict(points)
	jm, jc := m.Joint(points)
	for i, p := range points {
		if d := r3.Norm(r3.Sub(mean[i], jm[i])) + r3.Norm(r3.Sub(mean[i], m.Mean(p))); d > 1e-8 {
			t.Errorf("point %d: means differ by %g", i, d)
		}
		for a := range 3 {
			for b := range 3 {
				if d := math.Abs(cov[i][a][b] - jc.At(3*i+a, 3*i+b)); d > 1e-7 {
					t.Errorf("point %d: covariances differ by %g", i, d)
				}
			}
		}
	}
	// The joint covariance across points by the identity for a sum.
	p, q := points[0], points[1]
	one, _ := m.At(p)
	two, _ := m.At(q)
	if d := r3.Norm(r3.Sub(r3.Add(one, two), r3.Add(jm[0], jm[1]))); d > 1e-8 {
		t.Errorf("sum of means off by %g", d)
	}
}

func TestGradientOfADenseMapIsTheTruth(t *testing.T) {
	ds := []dipole{{at: r3.Vec{Z: 50}, m: r3.Vec{X: 0.03, Z: 0.1}}}
	p := r3.Vec{X: -27, Y: 10}
	var at []r3.Vec
	for i := range 81 {
		at = append(at, r3.Vec{X: p.X + 15*float64(i%9-4), Y: p.Y + 15*float64(i/9-4)})
	}
	m, err := Condition(t.Context(), measure(rand.New(rand.NewPCG(1, 0)), ds, at, 0.01), Mirrored{0, math.Log(50), math.Log(45)})
	if err != nil {
		t.Fatal(err)
	}
	got := m.Gradient(p)
	for j, e := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		d := r3.Scale(0.5, r3.Sub(field(ds, r3.Add(p, e)), field(ds, r3.Sub(p, e))))
		for i, want := range []float64{d.X, d.Y, d.Z} {
			// The steepest slope here is about 3 uT/mm; half a per cent of it.
			if math.Abs(got[i][j]-want) > 0.015 {
				t.Errorf("[%d][%d] %.4f uT/mm, truth %.4f", i, j, got[i][j], want)
			}
		}
	}
}

func TestPoorInput(t *testing.T) {
	unit := magmath.Diagonal(.1, .1, .1)
	if _, err := Fit(t.Context(), magmath.Readings{}, nil); !errors.Is(err, magmath.ErrNoReadings) {
		t.Errorf("no stations: %v", err)
	}
	bad := magmath.Readings{At: []r3.Vec{{}}, B: []r3.Vec{{X: math.NaN()}}, Noise: magmath.BlockNoise([]magmath.Mat3{unit})}
	if _, err := Fit(t.Context(), bad, Candidates(bad, 50, 0)); !errors.Is(err, magmath.ErrNotFinite) {
		t.Errorf("NaN: %v", err)
	}
	short := magmath.Readings{At: []r3.Vec{{}, {X: 1}}, B: []r3.Vec{{}}, Noise: magmath.BlockNoise([]magmath.Mat3{unit})}
	if _, err := Fit(t.Context(), short, Candidates(short, 50, 0)); !errors.Is(err, magmath.ErrShape) {
		t.Errorf("shape: %v", err)
	}
	one := magmath.Readings{At: []r3.Vec{{}}, B: []r3.Vec{{X: 5}}, Noise: magmath.BlockNoise([]magmath.Mat3{unit})}
	m, err := Fit(t.Context(), one, Candidates(one, 50, 0))
	if err != nil {
		t.Fatal(err)
	}
	_, near := m.At(r3.Vec{})
	_, far := m.At(r3.Vec{X: 500})
	if far[0][0] < 1 || far[0][0] < 5*near[0][0] {
		t.Errorf("one station: variance %.2f on it, %.2f half a metre away", near[0][0], far[0][0])
	}
	same := magmath.Readings{}
	var blocks []magmath.Mat3
	for range 5 {
		same.At, same.B, blocks = append(same.At, r3.Vec{X: 10}), append(same.B, r3.Vec{X: 5}), append(blocks, magmath.Mat3{})
	}
	same.Noise = magmath.BlockNoise(blocks)
	if _, err := Fit(t.Context(), same, Candidates(same, 50, 0)); err != nil {
		t.Errorf("five noiseless readings of one place: %v", err)
	}
	line := magmath.Readings{}
	blocks = nil
	for i := range 6 {
		line.At, line.B, blocks = append(line.At, r3.Vec{X: float64(i) * 50}), append(line.B, r3.Vec{Z: float64(i)}), append(blocks, unit)
	}
	line.Noise = magmath.BlockNoise(blocks)
	m, err = Fit(t.Context(), line, Candidates(line, 50, 0))
	if err != nil {
		t.Fatal(err)
	}
	_, on := m.At(r3.Vec{X: 125})
	_, off := m.At(r3.Vec{X: 125, Y: 120})
	if off[2][2] < 2*on[2][2] {
		t.Errorf("beside a line of stations the map claims as much as on it: %.3f and %.3f", off[2][2], on[2][2])
	}
}

func BenchmarkFit60Stations(b *testing.B)  { benchmarkFit(b, 60) }
func BenchmarkFit200Stations(b *testing.B) { benchmarkFit(b, 200) }
func BenchmarkFit600Stations(b *testing.B) { benchmarkFit(b, 600) }

func grid(n int) []r3.Vec {
	at := make([]r3.Vec, n)
	for i := range at {
		at[i] = r3.Vec{X: float64(i%12)*30 - 165, Y: float64(i/12)*30 - 75}
	}
	return at
}

func benchmarkFit(b *testing.B, n int) {
	rng := rand.New(rand.NewPCG(1, 0))
	ds, _ := craft(rng)
	d := measure(rng, ds, grid(n), 0.3)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Fit(b.Context(), d, Candidates(d, 30, 0)); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPredict10000(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 0))
	ds, _ := craft(rng)
	m, err := Condition(b.Context(), measure(rng, ds, grid(60), 0.3), Sum{Mirrored{0, 2, 3}, Mirrored{0, 1, 4}})
	if err != nil {
		b.Fatal(err)
	}
	points := make([]r3.Vec, 10000)
	for i := range points {
		points[i] = r3.Vec{X: 330*rng.Float64() - 165, Y: 150*rng.Float64() - 75}
	}
	b.ReportAllocs()
	for b.Loop() {
		m.Predict(points)
	}
}
