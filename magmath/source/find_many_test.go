package source

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/simtest"
)

// shared is noise with a part that all readings have in common, as from a
// room whose background is not quite known.
func shared(n int, sd, common float64) *mat.SymDense {
	s := white(n, sd)
	for i := range 3 * n {
		for j := i; j < 3*n; j += 3 {
			s.SetSym(i, j, s.At(i, j)+common*common)
		}
	}
	return s
}

func noisy(d magmath.Readings, noise *mat.SymDense, rng *rand.Rand) magmath.Readings {
	var chol mat.Cholesky
	chol.Factorize(noise)
	var l mat.TriDense
	chol.LTo(&l)
	z, e := mat.NewVecDense(3*len(d.At), nil), mat.NewVecDense(3*len(d.At), nil)
	for i := range z.Len() {
		z.SetVec(i, rng.NormFloat64())
	}
	e.MulVec(&l, z)
	for i := range d.B {
		d.B[i] = r3.Add(d.B[i], r3.Vec{X: e.AtVec(3 * i), Y: e.AtVec(3*i + 1), Z: e.AtVec(3*i + 2)})
	}
	d.Noise = noise
	return d
}

// magnetsUnder are magnets of 0.02 to 0.3 A m2, 20 to 60 mm under the
// stations, at least apart mm from one another.
func magnetsUnder(rng *rand.Rand, n int, halfX, halfY, apart float64) []Dipole {
	var out []Dipole
	for len(out) < n {
		d := Dipole{
			AtMM:      r3.Vec{X: 2 * halfX * (rng.Float64() - 0.5), Y: 2 * halfY * (rng.Float64() - 0.5), Z: 20 + 40*rng.Float64()},
			MomentAm2: r3.Scale(0.02*math.Pow(15, rng.Float64()), direction(rng)),
		}
		if !slices.ContainsFunc(out, func(o Dipole) bool { return r3.Norm(r3.Sub(o.AtMM, d.AtMM)) < apart }) {
			out = append(out, d)
		}
	}
	return out
}

// How many magnets there are is told from the readings, for none to four of
// them, with noise that is partly common to all.
func TestNumberOfDipoles(t *testing.T) {
	trials := simtest.Trials(4, 12)
	at := stationsOn(9, 5, 60)
	for n := range 5 {
		right, more, less, near, all, inside := 0, 0, 0, 0, 0, 0
		for k := range trials {
			rng := rand.New(rand.NewPCG(uint64(k), uint64(n)))
			truth := magnetsUnder(rng, n, 240, 120, 60)
			d := magmath.Readings{At: at, B: make([]r3.Vec, len(at))}
			for i, p := range at {
				for _, s := range truth {
					d.B[i] = r3.Add(d.B[i], s.Field(p))
				}
			}
			f, err := Find(t.Context(), noisy(d, shared(len(at), 0.5, 1), rng), nil, nil, Options{SpacingMM: 60})
			if err != nil {
				t.Fatal(err)
			}
			switch m := len(f.Sources); {
			case m == n:
				right++
			case m > n:
				more++
			default:
				less++
			}
			for _, s := range truth {
				all++
				if i := slices.IndexFunc(f.Sources, func(c Fitted) bool { return r3.Norm(r3.Sub(c.AtMM, s.AtMM)) < 10 }); i >= 0 {
					near++
					e := r3.Sub(f.Sources[i].AtMM, s.AtMM)
					c := f.Sources[i].AtCov
					if math.Abs(e.X) < 1.96*math.Sqrt(c[0][0]) {
						inside++
					}
				}
			}
			if n == 0 && len(f.Sources) == 0 && (!f.Quiet || f.Unexplained != 0) && trialP(f) > 0.05 {
				t.Errorf("nothing but noise, yet %.2f unexplained", f.Unexplained)
			}
		}
		t.Logf("%d magnets: the right number in %d of %d, more in %d, fewer in %d; within 10 mm %d of %d, x inside 95 %% %d", n, right, trials, more, less, near, all, inside)
		if float64(right) < 0.85*float64(trials) {
			t.Errorf("%d magnets: the right number in only %d of %d", n, right, trials)
		}
		if float64(near) < 0.9*float64(all) {
			t.Errorf("%d magnets: found %d of %d", n, near, all)
		}
	}
}

func trialP(f *Found) float64 {
	return math.Exp(-math.Abs(f.ChiSquare-f.Freedom) / math.Sqrt(2*f.Freedom))
}

// A named magnet that is there is found and tested as such, one that is not
// there is said to explain nothing, and an unnamed one between them is still
// found.
func TestNamedMagnets(t *testing.T) {
	at := stationsOn(9, 5, 60)
	falseAlarms, missed, trials := 0, 0, simtest.Trials(8, 24)
	for k := range trials {
		rng := rand.New(rand.NewPCG(uint64(k), 33))
		hatch := Dipole{AtMM: r3.Vec{X: 110, Y: 3, Z: 25}, MomentAm2: r3.Scale(0.06, direction(rng))}
		other := Dipole{AtMM: r3.Vec{X: -90, Y: 70, Z: 40}, MomentAm2: r3.Scale(0.1, direction(rng))}
		named := []Magnet{{Name: "hatch", AtMM: r3.Vec{X: 113, Y: 0, Z: 24}}, {Name: "absent", AtMM: r3.Vec{X: 0, Y: -90, Z: 30}}}
		d := readingsOf(at, 0.5, rng, hatch, other)
		f, err := Find(t.Context(), d, named, nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Sources) < 2 || f.Sources[0].Name != "hatch" || f.Sources[1].Name != "" {
			missed++
			continue
		}
		if len(f.Nothing) != 1 || f.Nothing[0].Name != "absent" {
			falseAlarms++
		}
		total := f.Left / f.ChiSquare
		for _, s := range f.Sources {
			total += s.Share
		}
		if math.Abs(total-1) > 0.01 {
			t.Errorf("shares and rest add up to %.4f", total)
		}
		if e := r3.Norm(r3.Sub(f.Sources[0].AtMM, hatch.AtMM)); e > 3 {
			t.Errorf("hatch magnet off by %.1f mm", e)
		}
		if !(f.Sources[0].P < 1e-6) || f.Unexplained > 0.02 {
			t.Errorf("p %.2g, unexplained %.3f", f.Sources[0].P, f.Unexplained)
		}
	}
	t.Logf("%d trials: %d times an absent part was taken for present, %d missed", trials, falseAlarms, missed)
	if missed > 0 || float64(falseAlarms) > 0.05*float64(trials)+1 {
		t.Error("too many")
	}
}

// A lead along its stated path comes back with its current times gap.
func TestNamedLead(t *testing.T) {
	at := stationsOn(9, 5, 60)
	for name, path := range map[string][]r3.Vec{
		"straight": {{X: 60, Z: 40}, {X: -230, Y: -100, Z: 50}},
		"bent":     {{X: 60, Z: 40}, {X: -80, Y: -20, Z: 35}, {X: -230, Y: -100, Z: 50}},
	} {
		rng := rand.New(rand.NewPCG(5, 5))
		pair := Pair{PathMM: path, GapMM: 12, CurrentA: 18, Across: r3.Vec{Y: 1, Z: .6}}
		lead := NamedLead{Name: "left", PathMM: path, GapMM: 12, CurrentA: 18}
		idle := NamedLead{Name: "idle", PathMM: []r3.Vec{{X: 100, Y: 100, Z: 40}, {X: 200, Y: 50, Z: 30}}, GapMM: 5, CurrentA: 5}
		f, err := Find(t.Context(), readingsOf(at, 0.3, rng, pair), nil, []NamedLead{lead, idle}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Sources) != 1 || f.Sources[0].Kind != KindLead || len(f.Nothing) != 1 || f.Nothing[0].Name != "idle" {
			t.Fatalf("%s: %d sources, %d explain nothing", name, len(f.Sources), len(f.Nothing))
		}
		s := f.Sources[0]
		t.Logf("%s: %.2f A +- %.2f, unexplained %.3f", name, s.CurrentA, s.CurrentSD, f.Unexplained)
		if math.Abs(s.CurrentA-18) > max(0.6, 3*s.CurrentSD) || f.Unexplained > 0.02 {
			t.Errorf("%s: %.2f A, unexplained %.3f", name, s.CurrentA, f.Unexplained)
		}
	}
}

// A lead whose return runs elsewhere comes back with its net current.
func TestLeadWithReturn(t *testing.T) {
	at := stationsOn(9, 5, 60)
	out, back := []r3.Vec{{X: 60, Z: 40}, {X: -230, Y: -100, Z: 50}}, []r3.Vec{{X: -230, Y: -100, Z: 50}, {X: 60, Y: 60, Z: 45}}
	rng := rand.New(rand.NewPCG(6, 5))
	f, err := Find(t.Context(), readingsOf(at, 0.3, rng, Circuit(out, back, 11)), nil, []NamedLead{{Name: "l", PathMM: out, ReturnMM: back, CurrentA: 12}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Sources) != 1 {
		t.Fatalf("%d sources", len(f.Sources))
	}
	if s := f.Sources[0]; math.Abs(s.CurrentA-11) > max(0.05, 3*s.CurrentSD) {
		t.Errorf("%.2f A +- %.2f", s.CurrentA, s.CurrentSD)
	}
}

// Wild stations do not turn into magnets and do not drag the real one.
func TestOutliers(t *testing.T) {
	trials := simtest.Trials(8, 30)
	at := stationsOn(7, 5, 60)
	right := 0
	var square, clean float64
	for k := range trials {
		rng := rand.New(rand.NewPCG(uint64(k), 44))
		truth := magnetsUnder(rng, 1, 150, 90, 0)[0]
		d := readingsOf(at, 0.5, rng, truth)
		ref, err := Find(t.Context(), d, nil, nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		d.B = slices.Clone(d.B)
		for range 2 {
			i := rng.IntN(len(at))
			d.B[i] = r3.Add(d.B[i], r3.Scale(15+30*rng.Float64(), direction(rng)))
		}
		f, err := Find(t.Context(), d, nil, nil, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Sources) == 1 {
			right++
			square += r3.Norm2(r3.Sub(f.Sources[0].AtMM, truth.AtMM))
			clean += r3.Norm2(r3.Sub(ref.Sources[0].AtMM, truth.AtMM))
		}
	}
	t.Logf("%d of %d with one source; error %.2f of that without wild stations", right, trials, math.Sqrt(square/clean))
	if float64(right) < 0.85*float64(trials) || square > 3*clean {
		t.Error("wild stations disturb the fit")
	}
}

// Two magnets side by side under the stations act as one, and that is said.
func TestNotToldApart(t *testing.T) {
	at := stationsOn(7, 5, 60)
	rng := rand.New(rand.NewPCG(2, 55))
	a := Dipole{AtMM: r3.Vec{X: 10, Z: 60}, MomentAm2: r3.Vec{Z: 0.2}}
	b := Dipole{AtMM: r3.Vec{X: 30, Z: 62}, MomentAm2: r3.Vec{X: 0.2}}
	far := Dipole{AtMM: r3.Vec{X: -150, Y: 60, Z: 30}, MomentAm2: r3.Vec{X: 0.1}}
	f, err := Find(t.Context(), readingsOf(at, 0.05, rng, a, b, far), []Magnet{{Name: "a", AtMM: a.AtMM}, {Name: "b", AtMM: b.AtMM}}, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Sources) != 3 {
		t.Fatalf("%d sources", len(f.Sources))
	}
	if len(f.Alike) != 1 || f.Alike[0].I != 0 || f.Alike[0].J != 1 || f.Alike[0].Correlation < 0.95 {
		t.Errorf("alike: %+v", f.Alike)
	}
}

// Two parts at the place of one magnet, deep under the stations, cannot both be
// sources and told apart.
func TestAlike(t *testing.T) {
	at := stationsOn(7, 5, 60)
	rng := rand.New(rand.NewPCG(1, 55))
	one := Dipole{AtMM: r3.Vec{X: 10, Z: 60}, MomentAm2: r3.Vec{Z: 0.1}}
	f, err := Find(t.Context(), readingsOf(at, 0.5, rng, one), []Magnet{{Name: "a", AtMM: r3.Vec{X: 12, Z: 60}}, {Name: "b", AtMM: r3.Vec{X: 8, Z: 60}}}, nil, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Sources) == 2 && len(f.Alike) == 0 {
		t.Errorf("two parts at the place of one magnet are both sources, told apart: %+v", f.Sources)
	}
	t.Logf("%d sources, %d explain nothing, alike %+v", len(f.Sources), len(f.Nothing), f.Alike)
}

func TestBadReadings(t *testing.T) {
	at := stationsOn(3, 3, 60)
	good := func() magmath.Readings { return readingsOf(at, 1, rand.New(rand.NewPCG(1, 1))) }
	for _, c := range []struct {
		name string
		d    magmath.Readings
		want error
	}{
		{"none", magmath.Readings{}, magmath.ErrNoReadings},
		{"shape", magmath.Readings{At: at, B: make([]r3.Vec, 2), Noise: white(9, 1)}, magmath.ErrShape},
		{"no noise", magmath.Readings{At: at, B: make([]r3.Vec, 9)}, magmath.ErrShape},
		{"nan", func() magmath.Readings { d := good(); d.B[3].Y = math.NaN(); return d }(), magmath.ErrNotFinite},
		{"singular", func() magmath.Readings { d := good(); d.Noise = mat.NewSymDense(27, nil); return d }(), magmath.ErrSingular},
	} {
		if _, err := Find(t.Context(), c.d, nil, nil, Options{}); !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.name, err, c.want)
		}
	}
}

// Few stations, a line of them, a station on top of a magnet, all at one
// place: an answer without a panic.
func TestOddLayouts(t *testing.T) {
	d := Dipole{AtMM: r3.Vec{X: 5, Y: 10, Z: 30}, MomentAm2: r3.Vec{X: .05, Z: .1}}
	rng := rand.New(rand.NewPCG(1, 66))
	for name, at := range map[string][]r3.Vec{
		"one":  {{X: 20}},
		"two":  {{X: 20}, {X: 80}},
		"line": stationsOn(12, 1, 50),
		"same": {{X: 1}, {X: 1}, {X: 1}, {X: 1}},
		"on":   {{X: 5, Y: 10, Z: 30}, {X: 60}, {X: -60}, {Y: 60}, {Y: -60}, {X: 50, Y: 50}},
		"over": {{X: 5, Y: 10, Z: 29}, {X: 60}, {X: -60}, {Y: 60}, {Y: -60}, {X: 50, Y: 50}},
	} {
		readings := readingsOf(at, 0.5, rng, d)
		for i, b := range readings.B {
			if math.IsNaN(b.X) {
				readings.B[i] = r3.Vec{X: 800} // a probe at its full scale
			}
		}
		lead := NamedLead{Name: "l", PathMM: []r3.Vec{at[0], {X: 300, Y: 10, Z: 40}}, GapMM: 5, CurrentA: 2}
		f, err := Find(t.Context(), readings, []Magnet{{Name: "m", AtMM: d.AtMM}}, []NamedLead{lead}, Options{MostLeads: 1, CurrentA: 2})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if mean, cov := f.At(at[0]); !magmath.FiniteVec(mean) || !cov.Finite() {
			t.Errorf("%s: field %v +- %v", name, mean, cov)
		}
		for _, s := range f.Sources {
			if !(r3.Norm(s.MomentAm2) >= 0) || !(s.AtCov[0][0] > 0) || !(s.P >= 0) || !(s.Share >= 0 && s.Share <= 1+1e-9) {
				t.Errorf("%s: %+v", name, s)
			}
		}
	}
}
