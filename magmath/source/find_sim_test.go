package source

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// field are stations on a level grid, spacing mm apart, at z = 0.
func stationsOn(nx, ny int, spacing float64) []r3.Vec {
	var at []r3.Vec
	for i := range nx {
		for j := range ny {
			at = append(at, r3.Vec{X: spacing * (float64(i) - float64(nx-1)/2), Y: spacing * (float64(j) - float64(ny-1)/2)})
		}
	}
	return at
}

// white is independent noise of one standard deviation on every component.
func white(n int, sd float64) *mat.SymDense {
	s := mat.NewSymDense(3*n, nil)
	for i := range 3 * n {
		s.SetSym(i, i, sd*sd)
	}
	return s
}

type fieldOf interface{ Field(r3.Vec) r3.Vec }

func readingsOf(at []r3.Vec, sd float64, rng *rand.Rand, sources ...fieldOf) magmath.Readings {
	d := magmath.Readings{At: at, Noise: white(len(at), sd)}
	for _, p := range at {
		b := r3.Vec{X: sd * rng.NormFloat64(), Y: sd * rng.NormFloat64(), Z: sd * rng.NormFloat64()}
		for _, s := range sources {
			b = r3.Add(b, s.Field(p))
		}
		d.B = append(d.B, b)
	}
	return d
}

func direction(rng *rand.Rand) r3.Vec {
	return r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
}

// bound is the Cramer-Rao bound of a dipole's place, mm^2, from the Fisher
// information with derivatives by central differences.
func bound(t testing.TB, d Dipole, at []r3.Vec, sd float64) *mat.SymDense {
	t.Helper()
	values := []float64{d.AtMM.X, d.AtMM.Y, d.AtMM.Z, d.MomentAm2.X, d.MomentAm2.Y, d.MomentAm2.Z}
	j := mat.NewDense(3*len(at), 6, nil)
	for k := range 6 {
		h := 1e-3
		if k > 2 {
			h = 1e-6
		}
		eval := func(s float64) Dipole {
			v := append([]float64(nil), values...)
			v[k] += s
			return Dipole{AtMM: place(v), MomentAm2: place(v[3:])}
		}
		for i, p := range at {
			g := r3.Scale(0.5/h, r3.Sub(eval(h).Field(p), eval(-h).Field(p)))
			j.Set(3*i, k, g.X/sd)
			j.Set(3*i+1, k, g.Y/sd)
			j.Set(3*i+2, k, g.Z/sd)
		}
	}
	var fisher mat.SymDense
	fisher.SymOuterK(1, j.T())
	var chol mat.Cholesky
	if !chol.Factorize(&fisher) {
		t.Fatal("no information")
	}
	out := mat.NewSymDense(6, nil)
	if err := chol.InverseTo(out); err != nil {
		t.Log(err)
	}
	return out
}

// One magnet inside the surveyed area, at least half the spacing deep, rms
// field 20 dB or more over the noise: the place comes back about as well as it
// can, its intervals hold, and it is taken for one magnet.
// Source: the Cramer-Rao bound, computed here from the textbook dipole.
func TestOneDipoleNearTheBound(t *testing.T) {
	trials := simtest.Trials(100, 500)
	const spacing = 60.0
	at := stationsOn(7, 5, spacing)
	var sum, best, bias, biasVar float64
	inside, right, counted, none, more := 0, 0, 0, 0, 0
	for k := range trials {
		rng := rand.New(rand.NewPCG(uint64(k), 7))
		d := Dipole{
			AtMM:      r3.Vec{X: spacing * 6 * (rng.Float64() - 0.5), Y: spacing * 4 * (rng.Float64() - 0.5), Z: spacing * (0.5 + 1.5*rng.Float64())},
			MomentAm2: r3.Scale(0.02*math.Pow(15, rng.Float64()), direction(rng)),
		}
		rms := 0.0
		for _, p := range at {
			rms += r3.Norm2(d.Field(p))
		}
		rms = math.Sqrt(rms / float64(len(at)))
		sd := rms / math.Pow(10, (20+10*rng.Float64())/20)
		f, err := Find(t.Context(), readingsOf(at, sd, rng, d), nil, nil, Options{SpacingMM: spacing})
		if err != nil {
			t.Fatalf("trial %d: %v", k, err)
		}
		switch n := len(f.Sources); {
		case n == 0:
			none++
			continue
		case n > 1:
			more++
		default:
			right++
		}
		s := f.Sources[0]
		for _, o := range f.Sources {
			if r3.Norm(r3.Sub(o.AtMM, d.AtMM)) < r3.Norm(r3.Sub(s.AtMM, d.AtMM)) {
				s = o
			}
		}
		crb := bound(t, d, at, sd)
		e := r3.Sub(s.AtMM, d.AtMM)
		var w float64
		for i, v := range []float64{e.X, e.Y, e.Z} {
			w += v * v / crb.At(i, i)
			if math.Abs(v) < 1.959964*math.Sqrt(s.AtCov[i][i]) {
				inside++
			}
			counted++
		}
		sum, best = sum+w, best+3
		bias += e.Z / math.Sqrt(crb.At(2, 2))
		biasVar++
	}
	ratio := math.Sqrt(sum / best)
	cover := float64(inside) / float64(counted)
	t.Logf("%d trials: error %.3f of the bound, depth biased by %.2f of it, 95 %% intervals hold in %.1f %%; one dipole in %d, more in %d, none in %d",
		trials, ratio, bias/biasVar, 100*cover, right, more, none)
	if ratio > 1.5 {
		t.Errorf("error is %.2f times the bound", ratio)
	}
	if cover < 0.92 || cover > 0.98 {
		t.Errorf("intervals hold in %.3f", cover)
	}
	if float64(right) < 0.95*float64(trials) {
		t.Errorf("one dipole in %d of %d", right, trials)
	}
}

// With a known moment the range of one reading is known to a third of the
// relative noise: sigma_r/r = (s/B)/3, since B falls as r^-3.
// Source: the derivative of the textbook dipole by hand.
func TestRangeOfAKnownMoment(t *testing.T) {
	d := Dipole{AtMM: r3.Vec{X: 3, Y: -4, Z: 30}, MomentAm2: r3.Vec{X: .05, Y: .02, Z: -.04}}
	p := r3.Vec{X: 40, Y: 10, Z: -20}
	r := r3.Sub(p, d.AtMM)
	u := r3.Unit(r)
	s := dipoleAt("", d.AtMM, 1).gradients([]float64{.05, .02, -.04})(nil, p)
	along := r3.Add(r3.Scale(-u.X, s[0]), r3.Add(r3.Scale(-u.Y, s[1]), r3.Scale(-u.Z, s[2])))
	const noise = 0.3
	sigma := noise / r3.Norm(along) // moving away along the line of sight
	within(t, "sigma_r/r", sigma/r3.Norm(r), noise/r3.Norm(d.Field(p))/3, 1e-9)
}
