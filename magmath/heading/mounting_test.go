package heading

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// The places of a slip against the uniform distribution in a disc of radius R: mean
// zero, a variance of R^2/4 along each axis, and the 0.95 quantile of one
// coordinate, u R with (asin u + u sqrt(1 - u^2))/pi = 0.45 (the area of a
// circular segment; any handbook of mathematics).
func TestSlipsAreUniformInADisc(t *testing.T) {
	const radius = 3.0
	all := Slips(radius)
	var mean, square r2.Vec
	for _, s := range all {
		mean = r2.Add(mean, s)
		square = r2.Add(square, r2.Vec{X: s.X * s.X / SlipPlaces, Y: s.Y * s.Y / SlipPlaces})
		if r2.Norm(s) > radius {
			t.Errorf("%v is farther than %g", s, radius)
		}
	}
	if r2.Norm(mean) > 1e-12 {
		t.Errorf("mean %v", mean)
	}
	if math.Abs(square.X-radius*radius/4) > 1e-9 || math.Abs(square.Y-radius*radius/4) > 1e-9 {
		t.Errorf("mean squares %v, not %g", square, radius*radius/4)
	}
	u := 0.805
	if a := (math.Asin(u) + u*math.Sqrt(1-u*u)) / math.Pi; math.Abs(a-0.45) > 1e-3 {
		t.Fatalf("the segment's area is %g", a)
	}
	for deg := 0.0; deg < 180; deg += 15 {
		sin, cos := math.Sincos(deg * degree)
		slip := make([]r3.Vec, SlipPlaces)
		for k, s := range all {
			slip[k] = r3.Vec{X: 0.1 * (cos*s.X + sin*s.Y)}
		}
		got := Mounting{HUT: 20, SlipMM: radius}.AtPlace([]Load{{Mean: r3.Vec{X: 5}, Slip: slip}}, [][]int{{0}})
		want, _ := Level(r3.Vec{X: 5 + 0.1*u*radius}, 20)
		if math.Abs(got-want) > 0.05 {
			t.Errorf("gradient at %g degrees: %g, want %g degrees", deg, got, want)
		}
	}
}

// Brute force: the posterior as mounted against as many random draws of field,
// slip, H and lean's worst, with a gradient so large that the slip decides.
func TestAsMountedByRandomDraws(t *testing.T) {
	rng := rand.New(rand.NewPCG(20261130, 4))
	combos := [][]int{{0}, {1}, {0, 1}}
	m := Mounting{HUT: 18, HSDUT: 0.3, TiltDeg: 10, SlipMM: 3}
	n := simtest.Trials(40000, 400000)
	s := NewSampler(2)
	for trial := range 6 {
		loads := make([]Load, 2)
		slopes := make([][2]r3.Vec, 2)
		for l := range loads {
			loads[l] = Load{Mean: r3.Scale(1.5, normal3(rng)), Cov: magmath.Diagonal(0.04, 0.02, 0.03)}
			slopes[l] = [2]r3.Vec{r3.Scale(0.3, normal3(rng)), r3.Scale(0.3, normal3(rng))}
			for _, at := range Slips(m.SlipMM) {
				loads[l].Slip = append(loads[l].Slip, r3.Add(r3.Scale(at.X, slopes[l][0]), r3.Scale(at.Y, slopes[l][1])))
			}
		}
		errs := make([]float64, n)
		for i := range errs {
			r, angle := m.SlipMM*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
			sin, cos := math.Sincos(angle)
			var d [2]r3.Vec
			for l, load := range loads {
				z := normal3(rng)
				d[l] = r3.Add(load.Mean, r3.Vec{X: 0.2 * z.X, Y: math.Sqrt(0.02) * z.Y, Z: math.Sqrt(0.03) * z.Z})
				d[l] = r3.Add(d[l], r3.Add(r3.Scale(r*cos, slopes[l][0]), r3.Scale(r*sin, slopes[l][1])))
			}
			h := m.HUT + m.HSDUT*rng.NormFloat64()
			for _, v := range []r3.Vec{d[0], d[1], r3.Add(d[0], d[1])} {
				deg, _ := Worst(v, h, m.TiltDeg)
				errs[i] = max(errs[i], deg)
			}
		}
		slices.Sort(errs)
		got, _ := s.WorstPosterior(loads, combos, m)
		spread := errs[n*95/100] - errs[n/2]
		if want := errs[n/2]; math.Abs(got.Estimate-want) > 0.08*spread {
			t.Errorf("craft %d: median %.3f, brute force %.3f degrees", trial, got.Estimate, want)
		}
		if want := errs[n*95/100]; math.Abs(got.Upper95-want) > 0.12*spread {
			t.Errorf("craft %d: upper bound %.3f, brute force %.3f degrees", trial, got.Upper95, want)
		}
	}
}

func normal3(rng *rand.Rand) r3.Vec {
	return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
}

// What is ordered by: with nothing uncertain it is the error at the place, and it
// counts no more than 30 degrees.
func TestExpected(t *testing.T) {
	s, m := NewSampler(1), Mounting{HUT: 20, TiltDeg: 10, SlipMM: 3}
	slip := make([]r3.Vec, SlipPlaces)
	for k, at := range Slips(m.SlipMM) {
		slip[k] = r3.Vec{X: 0.2 * at.X}
	}
	loads, combos := []Load{{Mean: r3.Vec{X: 1, Z: 2}, Slip: slip}}, [][]int{{0}}
	if got, want := s.Expected(loads, combos, m), m.AtPlace(loads, combos); math.Abs(got-want) > 1e-9 {
		t.Errorf("expected %g, at the place %g", got, want)
	}
	if level, at := m.Level().AtPlace(loads, combos), m.AtPlace(loads, combos); !(level < m.Exact().AtPlace(loads, combos)) || !(m.Exact().AtPlace(loads, combos) < at) {
		t.Errorf("level %g, leaning and exact %g, mounted %g", level, m.Exact().AtPlace(loads, combos), at)
	}
	strong := []Load{{Mean: r3.Vec{X: 100}}}
	if got := s.Expected(strong, combos, m); got != 30 {
		t.Errorf("any direction counts %g", got)
	}
	if got := s.Expected([]Load{{Mean: r3.Vec{X: math.NaN()}}}, combos, m); !math.IsNaN(got) {
		t.Errorf("NaN gives %g", got)
	}
}

// What is skipped because it cannot matter does not matter: Slipped and Expected
// against all places of the slip sorted, and against averaging these.
func TestSlipsThatCannotMatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(20261130, 12))
	combos := [][]int{{0}, {^1}, {0, 1}, {0, ^1}}
	m := Mounting{HUT: 18, HSDUT: 0.3, TiltDeg: 12, SlipMM: 3}
	plain := func(loads []Load, d []r3.Vec) float64 {
		var all []float64
		for k := range SlipPlaces {
			b := 0.0
			for _, combo := range combos {
				var sum r3.Vec
				for _, l := range combo {
					sum = r3.Add(sum, signed(r3.Add(d[Loaded(l)], loads[Loaded(l)].Slip[k]), l))
				}
				b = max(b, Horizontal(sum, m.TiltDeg))
			}
			all = append(all, b)
		}
		var o ordered
		o.of(all)
		deg, _ := errorOf(o.quantile(slipped), m.HUT)
		return deg
	}
	s := NewSampler(2)
	for range 40 {
		loads := make([]Load, 2)
		for l := range loads {
			loads[l] = Load{Mean: r3.Scale(1.5, normal3(rng)), Cov: magmath.Diagonal(0.04, 0.02, 0.03)}
			for range SlipPlaces { // uneven, as beside a conductor
				loads[l].Slip = append(loads[l].Slip, r3.Scale(0.4, normal3(rng)))
			}
		}
		at, sum := m.Slipped(loads, combos), 0.0
		for i := range expectedDraws {
			d := make([]r3.Vec, 2)
			for l, load := range loads {
				z := s.points[l][i]
				d[l] = r3.Add(load.Mean, r3.Vec{X: 0.2 * z.X, Y: math.Sqrt(0.02) * z.Y, Z: math.Sqrt(0.03) * z.Z})
			}
			want := plain(loads, d)
			if got := at.Error(d); math.Abs(got-want) > 1e-9 {
				t.Fatalf("%v: %g degrees, by all places %g", d, got, want)
			}
			sum += min(want, mostCountedDeg)
		}
		if got := s.Expected(loads, combos, m); math.Abs(got-sum/expectedDraws) > 1e-9 {
			t.Errorf("expected %g degrees, by all places %g", got, sum/expectedDraws)
		}
	}
}
