package room

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// survey is an invented bench: a room with gradient, walk and offsets, a hand
// that tilts and misses, and a craft that adds truth at each station.
type survey struct {
	obs      []Observation
	stations []Station
	craft    []r3.Vec // truth
	load     []r3.Vec
}

type bench struct {
	stations               int
	pose, place, walk, off float64 // degrees, mm, uT in a minute, uT
	noise                  float64
	pulsed                 bool
	repeats                int
}

func normal3(rng *rand.Rand, sd float64) r3.Vec {
	return r3.Vec{X: sd * rng.NormFloat64(), Y: sd * rng.NormFloat64(), Z: sd * rng.NormFloat64()}
}

// simulate walks background (8 places), unpowered and one load at 0.5 of its
// unit. The base is the last station.
func simulate(rng *rand.Rand, b bench) survey {
	var s survey
	field := r3.Vec{X: 18, Y: -5, Z: 45}
	grad := magmath.Mat3{{0.004, 0.002, -0.003}, {0.002, 0.001, 0.005}, {-0.003, 0.005, -0.005}}
	var at []r3.Vec
	for i := range b.stations {
		at = append(at, r3.Vec{X: float64(i%6)*60 - 150, Y: float64(i/6)*60 - 120, Z: -20})
		s.stations = append(s.stations, Station{})
		s.craft = append(s.craft, normal3(rng, 8))
		s.load = append(s.load, normal3(rng, 2))
	}
	at = append(at, r3.Vec{X: 700, Z: -20})
	s.stations = append(s.stations, Station{PriorUT: 0.5})
	s.craft = append(s.craft, normal3(rng, 0.5))
	s.load = append(s.load, normal3(rng, 0.2))
	base := b.stations
	for run, state := range []string{"background", "unpowered", "load"} {
		drift := normal3(rng, b.off)
		ts := 0.0
		visit := func(k int) {
			step := 0.0
			if ts > 0 {
				step = b.walk * math.Sqrt(15.0/60)
			}
			drift = r3.Add(drift, normal3(rng, step))
			o := Observation{At: at[k], Run: run, TS: ts, Station: k, Load: NoLoad, Craft: state != "background"}
			ts += 15
			true3 := r3.Add(field, grad.Apply(at[k]))
			true3 = r3.Add(true3, drift)
			if o.Craft {
				true3 = r3.Add(true3, s.craft[k])
			}
			if state == "load" {
				o.Load, o.Level = 0, 0.5
				true3 = r3.Add(true3, r3.Scale(0.5, s.load[k]))
			}
			if state == "load" && b.pulsed {
				o.Pulsed = true
				true3 = r3.Scale(0.5, s.load[k])
			}
			tilt := normal3(rng, b.pose*math.Pi/180)
			o.B = r3.Add(r3.Add(true3, r3.Cross(tilt, true3)), normal3(rng, b.noise))
			o.Cov = magmath.Diagonal(b.noise*b.noise, b.noise*b.noise, b.noise*b.noise)
			s.obs = append(s.obs, o)
		}
		visit(base)
		for k := range b.stations {
			if state == "background" && k%4 != 0 {
				continue
			}
			visit(k)
			if k%8 == 7 {
				visit(base)
			}
		}
		for range b.repeats {
			visit(b.stations / 2)
		}
		visit(base)
	}
	return s
}

func usual() bench {
	return bench{stations: 30, pose: 1.5, walk: 0.1, off: 1, noise: 0.05, repeats: 3}
}

func TestSolveSubtractsExactlyWithoutNoise(t *testing.T) {
	b := usual()
	b.pose, b.walk, b.noise, b.off = 0, 0, 1e-4, 0
	s := simulate(rand.New(rand.NewPCG(1, 0)), b)
	h := Hyper{PoseDeg: 1e-4, PlaceMM: 1e-6, WalkUT: 1e-6, RoughUT: 1e-6, OffsetUT: 1e-6, GradientUT: 10}
	r, err := Solve(t.Context(), s.obs, s.stations, Options{Hyper: h, Fixed: true})
	if err != nil {
		t.Fatal(err)
	}
	for k := range b.stations {
		craft, _ := r.Craft(k)
		load, _ := r.Load(k, 0)
		// Ten times the noise and the floor of a nanotesla, as extrapolated by the gradient.
		if d := r3.Norm(r3.Sub(craft.Mean, s.craft[k])); d > 0.02 {
			t.Errorf("station %d: craft off by %.4f uT", k, d)
		}
		if d := r3.Norm(r3.Sub(load.Mean, s.load[k])); d > 0.02 {
			t.Errorf("station %d: load off by %.4f uT", k, d)
		}
	}
}

// The check is gonum's QR least squares on the same design, no priors: with
// drift and roughness priors at nothing and wide priors on the rest both must
// agree.
func TestSolveAgreesWithPlainLeastSquares(t *testing.T) {
	b := usual()
	b.walk, b.off, b.pose = 0, 0, 0
	b.noise = 0.1
	s := simulate(rand.New(rand.NewPCG(2, 0)), b)
	for i := range s.stations {
		s.stations[i].PriorUT = 0
	}
	h := Hyper{PoseDeg: 1e-7, PlaceMM: 1e-7, WalkUT: 1e-7, RoughUT: 1e-7, OffsetUT: 1e-7, GradientUT: 1e3}
	r, err := Solve(t.Context(), s.obs, s.stations, Options{Hyper: h, Fixed: true})
	if err != nil {
		t.Fatal(err)
	}
	n := len(s.stations)
	cols := 8 + 6*n
	a, y := mat.NewDense(3*len(s.obs), cols, nil), mat.NewVecDense(3*len(s.obs), nil)
	for i, o := range s.obs {
		d := o.At
		// B = b0 + G d, G symmetric without trace.
		rows := [3][8]float64{
			{1, 0, 0, d.X, d.Y, d.Z, 0, 0},
			{0, 1, 0, 0, d.X, 0, d.Y, d.Z},
			{0, 0, 1, -d.Z, 0, d.X, -d.Z, d.Y},
		}
		for c, v := range []float64{o.B.X, o.B.Y, o.B.Z} {
			for k, x := range rows[c] {
				a.Set(3*i+c, k, x)
			}
			y.SetVec(3*i+c, v)
			if o.Craft {
				a.Set(3*i+c, 8+3*o.Station+c, 1)
			}
			if o.Load != NoLoad {
				a.Set(3*i+c, 8+3*n+3*o.Station+c, o.Level)
			}
		}
	}
	var x mat.VecDense
	if err := x.SolveVec(a, y); err != nil {
		t.Fatal(err)
	}
	for k := range n {
		craft, _ := r.Craft(k)
		load, _ := r.Load(k, 0)
		want := r3.Vec{X: x.AtVec(8 + 3*k), Y: x.AtVec(9 + 3*k), Z: x.AtVec(10 + 3*k)}
		if d := r3.Norm(r3.Sub(craft.Mean, want)); d > 1e-3 {
			t.Errorf("station %d: craft differs by %.2g uT", k, d)
		}
		want = r3.Vec{X: x.AtVec(8 + 3*n + 3*k), Y: x.AtVec(9 + 3*n + 3*k), Z: x.AtVec(10 + 3*n + 3*k)}
		if d := r3.Norm(r3.Sub(load.Mean, want)); d > 1e-3 {
			t.Errorf("station %d: load differs by %.2g uT", k, d)
		}
	}
}

// The check is the density of a normal with the dense covariance R + H P H^T,
// by gonum's Cholesky, which knows nothing of the elimination.
func TestEvidenceAgreesWithDenseNormal(t *testing.T) {
	b := usual()
	b.stations = 6
	s := simulate(rand.New(rand.NewPCG(3, 0)), b)
	s.obs = append(s.obs, Observation{B: r3.Vec{X: 1, Y: 2, Z: -1}, Cov: magmath.Diagonal(.01, .02, .03), Station: 2, Load: 0, Level: 0.3, Pulsed: true, Craft: true})
	p, err := newProblem(s.obs, s.stations, nil)
	if err != nil {
		t.Fatal(err)
	}
	h := Defaults()
	sol, err := p.solve(h)
	if err == nil {
		err = sol.finish()
	}
	if err != nil {
		t.Fatal(err)
	}
	n, g := 3*len(s.obs), p.lay.globals
	first := make([]int, len(s.stations)+1)
	for i, parts := range p.lay.parts {
		first[i+1] = first[i] + 3*len(parts)
	}
	m := g + first[len(s.stations)]
	design, prior, noise := mat.NewDense(n, m, nil), mat.NewDense(m, m, nil), mat.NewSymDense(n, nil)
	for k, v := range p.lay.priorVariance(h, nil) {
		prior.Set(k, k, v)
	}
	for i, parts := range p.lay.parts {
		for k := range 3 * len(parts) {
			prior.Set(g+first[i]+k, g+first[i]+k, p.localVariance(i, parts[k/3], h))
		}
	}
	y := make([]float64, n)
	for i, o := range s.obs {
		y[3*i], y[3*i+1], y[3*i+2] = o.B.X, o.B.Y, o.B.Z
		nm := o.Noise(h)
		for a := range 3 {
			for c := a; c < 3; c++ {
				noise.SetSym(3*i+a, 3*i+c, nm[a][c])
			}
		}
		put := func(k int, v r3.Vec) {
			design.Set(3*i, k, v.X)
			design.Set(3*i+1, k, v.Y)
			design.Set(3*i+2, k, v.Z)
		}
		for _, c := range p.global[i] {
			put(c.index, c.v)
		}
		for _, c := range p.local[i] {
			put(g+first[o.Station]+c.index, c.v)
		}
	}
	var hp, hph mat.Dense
	hp.Mul(design, prior)
	hph.Mul(&hp, design.T())
	for i := range n {
		for j := i; j < n; j++ {
			noise.SetSym(i, j, noise.At(i, j)+hph.At(i, j))
		}
	}
	var chol mat.Cholesky
	if !chol.Factorize(noise) {
		t.Fatal("dense covariance not positive definite")
	}
	var sy mat.VecDense
	if err := chol.SolveVecTo(&sy, mat.NewVecDense(n, y)); err != nil {
		t.Fatal(err)
	}
	want := -0.5 * (mat.Dot(&sy, mat.NewVecDense(n, y)) + chol.LogDet() + float64(n)*math.Log(2*math.Pi))
	// Condition of the dense matrix about 1e9: six digits remain of the sum.
	if math.Abs(sol.logDens-want) > 1e-3 {
		t.Errorf("log evidence %.6f, dense %.6f", sol.logDens, want)
	}
	// Posterior of one unknown by conditioning the dense joint normal.
	var post mat.VecDense
	post.MulVec(hp.T(), &sy)
	r := &Result{Hyper: h, p: p, s: sol}
	row, _ := r.rows(Key{2, 0})
	load, _ := r.Load(2, 0)
	for c, got := range []float64{load.Mean.X, load.Mean.Y, load.Mean.Z} {
		if want := post.AtVec(g + first[2] + row + c); math.Abs(got-want) > 1e-4 {
			t.Errorf("component %d: %.6f, dense %.6f", c, got, want)
		}
	}
}

func TestCoverageOverManySurveys(t *testing.T) {
	surveys := simtest.Trials(8, 30)
	for _, c := range []struct {
		name   string
		pulsed bool
		pose   float64
	}{{"two walks", false, 1.5}, {"pulsed", true, 1.5}, {"careful hand", false, 0.7}, {"careless hand", false, 2.5}} {
		t.Run(c.name, func(t *testing.T) {
			var in, all [2]float64
			for seed := range surveys {
				b := usual()
				b.pulsed, b.pose = c.pulsed, c.pose
				s := simulate(rand.New(rand.NewPCG(uint64(seed), 7)), b)
				r, err := Solve(t.Context(), s.obs, s.stations, Options{})
				if err != nil {
					t.Fatal(err)
				}
				for k := range b.stations {
					craft, _ := r.Craft(k)
					load, _ := r.Load(k, 0)
					for part, e := range []Estimate{craft, load} {
						d := r3.Sub(e.Mean, [][]r3.Vec{s.craft, s.load}[part][k])
						for axis, x := range []float64{d.X, d.Y, d.Z} {
							all[part]++
							if math.Abs(x) < 1.96*math.Sqrt(e.Cov[axis][axis]) {
								in[part]++
							}
						}
					}
				}
			}
			for part, name := range []string{"craft", "load"} {
				f := in[part] / all[part]
				t.Logf("%s: %.1f %% inside 95 %% of %.0f", name, 100*f, all[part])
				if f < 0.92 || f > 0.98 {
					t.Errorf("%s: coverage %.3f, want 0.92 to 0.98", name, f)
				}
			}
		})
	}
}

func TestPoseIsLearnedFromRepeats(t *testing.T) {
	trials := simtest.Trials(4, 10)
	for _, pose := range []float64{0.5, 3} {
		sum := 0.0
		for seed := range trials {
			b := usual()
			b.pose, b.repeats = pose, 8
			s := simulate(rand.New(rand.NewPCG(uint64(seed), 11)), b)
			r, err := Solve(t.Context(), s.obs, s.stations, Options{})
			if err != nil {
				t.Fatal(err)
			}
			sum += math.Log(r.Hyper.PoseDeg)
		}
		// Some fifteen repeats and returns of two effective components each fix
		// the logarithm to about 0.13; the prior draws a little towards 1.5.
		if got := math.Exp(sum / float64(trials)); got < pose/1.4 || got > pose*1.4 {
			t.Errorf("pose %.2g degrees estimated as %.2f", pose, got)
		}
	}
}

func TestPoseCovHasNothingAlongTheField(t *testing.T) {
	b := r3.Vec{X: 30, Y: -20, Z: 40}
	c := PoseCov(b, 1)
	if got := r3.Norm(c.Apply(b)); got > 1e-9 {
		t.Errorf("along the field: %g", got)
	}
	// One degree of 50 uT is 0.87 uT across it: tan 1 deg = 0.017455.
	c = PoseCov(r3.Vec{Z: 50}, 1)
	if got := math.Sqrt(c[0][0]); math.Abs(got-0.8727) > 1e-3 {
		t.Errorf("across the field: %g", got)
	}
}

func TestBackgroundTestSeesARoughRoom(t *testing.T) {
	b := usual()
	b.pose, b.walk = 0.3, 0.02
	rng := rand.New(rand.NewPCG(5, 0))
	s := simulate(rng, b)
	fixed := Options{Hyper: Hyper{PoseDeg: 0.3, WalkUT: 0.02}, Fixed: true}
	r, err := Solve(t.Context(), s.obs, s.stations, fixed)
	if err != nil {
		t.Fatal(err)
	}
	if got, err := r.Background(0); err != nil || !(got.P >= 0.001) {
		t.Errorf("a smooth room is refused: %+v, %v", got, err)
	}
	for i := range s.obs {
		if !s.obs[i].Craft && s.obs[i].Station < b.stations {
			s.obs[i].B = r3.Add(s.obs[i].B, normal3(rng, 3))
		}
	}
	if r, err = Solve(t.Context(), s.obs, s.stations, fixed); err != nil {
		t.Fatal(err)
	}
	if got, err := r.Background(0); err != nil || !(got.P <= 1e-6) {
		t.Errorf("a rough room passes: %+v, %v", got, err)
	}
}

// A test that could not be made must not look like one that was passed.
func TestBackgroundThatIsNotTestedHasNoP(t *testing.T) {
	one := Observation{B: r3.Vec{Z: 50}, Load: NoLoad, Cov: magmath.Diagonal(1, 1, 1)}
	r, err := Solve(t.Context(), []Observation{one}, make([]Station, 1), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got, err := r.Background(0); err != nil || !math.IsNaN(got.P) || got.Freedom != 0 {
		t.Errorf("one capture: %+v, %v", got, err)
	}
	two := one
	two.At, two.Station = r3.Vec{X: 100}, 1
	if r, err = Solve(t.Context(), []Observation{one, two}, make([]Station, 2), Options{}); err != nil {
		t.Fatal(err)
	}
	if got, err := r.Background(0); err != nil || !(got.P > 0) {
		t.Errorf("two captures alike: %+v, %v", got, err)
	}
	for _, damaged := range []func(*Result){
		func(r *Result) { r.p.obs[1].B.X = math.Inf(1) },
		func(r *Result) { r.p.obs[1].B.X = 0; r.p.obs[1].Cov = magmath.Diagonal(-1e6, 1, 1) },
	} {
		damaged(r)
		if got, err := r.Background(0); err == nil || !math.IsNaN(got.P) || !strings.Contains(err.Error(), "smooth room") {
			t.Errorf("what cannot be solved: %+v, %v", got, err)
		}
	}
}

func TestSolveRefusesWhatItCannotUse(t *testing.T) {
	if _, err := Solve(t.Context(), nil, nil, Options{}); !errors.Is(err, ErrEmpty) {
		t.Errorf("no captures: %v", err)
	}
	bad := Observation{B: r3.Vec{X: math.NaN()}, Load: NoLoad}
	if _, err := Solve(t.Context(), []Observation{bad}, make([]Station, 1), Options{}); !errors.Is(err, ErrNotFinite) {
		t.Errorf("NaN: %v", err)
	}
	if _, err := Solve(t.Context(), []Observation{{Station: 3, Load: NoLoad}}, make([]Station, 1), Options{}); err == nil {
		t.Error("a station out of range is taken")
	}
	one := Observation{B: r3.Vec{Z: 50}, Station: 0, Load: NoLoad, Craft: true}
	r, err := Solve(t.Context(), []Observation{one}, make([]Station, 1), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if e, _ := r.Craft(0); e.Cov[0][0] < 100 {
		t.Errorf("one capture without a background claims to know the craft: %v", e.Cov)
	}
	if _, ok := r.Load(0, 0); ok {
		t.Error("a load nobody measured has an estimate")
	}
}

func BenchmarkSolve60Stations4Runs(b *testing.B) {
	u := usual()
	u.stations = 60
	s := simulate(rand.New(rand.NewPCG(1, 0)), u)
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Solve(b.Context(), s.obs, s.stations, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
