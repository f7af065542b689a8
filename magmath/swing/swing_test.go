package swing

import (
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath/arrow/arrowtest"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/simtest"
)

// rig is a craft on a turntable: Poisson's equations and marks.
type rig struct {
	p            poisson
	twistDeg     float64 // of the module, clockwise
	markDeg      float64 // standard deviation of each heading
	noiseUT      float64
	order        []float64 // headings as visited
	moved        func(i int) poisson
	slip         func(i int) float64
	noted        func(i int, z float64) float64
	withoutField bool
}

func around(n int, close bool) []float64 {
	var out []float64
	for i := range n {
		out = append(out, 360*float64(i)/float64(n))
	}
	if close {
		out = append(out, 0)
	}
	return out
}

func (g rig) swing(rng *rand.Rand) []Reading {
	var out []Reading
	for i, mark := range g.order {
		z := mark + g.markDeg*rng.NormFloat64()
		if g.slip != nil {
			z += g.slip(i)
		}
		s, k := math.Sincos(rad(z))
		f, p := r3.Vec{X: arrowtest.Place.X * k, Y: -arrowtest.Place.X * s, Z: arrowtest.Place.Z}, g.p
		if g.moved != nil {
			p = g.moved(i)
		}
		b := r3.Vec{
			X: f.X + p.AA*f.X + p.BB*f.Y + p.CC*f.Z + p.P + g.noiseUT*rng.NormFloat64(),
			Y: f.Y + p.DD*f.X + p.EE*f.Y + p.FF*f.Z + p.Q + g.noiseUT*rng.NormFloat64(),
			Z: f.Z + p.GG*f.X + p.HH*f.Y + p.KK*f.Z + p.R + g.noiseUT*rng.NormFloat64(),
		}
		s, k = math.Sincos(rad(g.twistDeg))
		b = r3.Vec{X: k*b.X + s*b.Y, Y: -s*b.X + k*b.Y, Z: b.Z}
		compass, _ := heading.Compass(b, r3.Vec{})
		r := Reading{MagneticDeg: mark, CompassDeg: compass, Field: &b}
		if g.noted != nil {
			r.MagneticDeg = g.noted(i, mark)
		}
		if g.withoutField {
			r.Field = nil
		}
		out = append(out, r)
	}
	return out
}

// craft is an invented craft: about 8 degrees of deviation.
var craft = poisson{AA: 0.03, BB: 0.01, DD: 0.02, EE: -0.02, CC: 0.01, P: 1.5, Q: -1.1, R: 2}

func TestTwistShowsAsA(t *testing.T) {
	// An arrow twisted clockwise by t reads t too much: A = -t.
	for _, twist := range []float64{-12, 3, 25, 170} {
		s, err := Fit(rig{twistDeg: twist, order: around(8, false)}.swing(rand.New(rand.NewPCG(1, 0))), Options{})
		if err != nil || math.Abs(heading.Wrap180(s.Approximate.A+twist)) > 1e-6 || math.Abs(s.Approximate.B) > 1e-6 || math.Abs(s.Approximate.D) > 1e-6 {
			t.Errorf("twist %g: %+v, %v", twist, s.Approximate, err)
		}
		if said := remark.Has(s.Remarks, "swing.turned"); said != (math.Abs(twist) > 15) {
			t.Errorf("twist %g: remarks %v", twist, s.Remarks)
		}
	}
}

func TestRelativeMarks(t *testing.T) {
	// Marks whose zero nobody knows: A comes to nothing, the rest stays, and the
	// card is that of the craft turned until it does.
	rng := rand.New(rand.NewPCG(1, 0))
	known, err := Fit(rig{p: craft, order: around(12, false)}.swing(rng), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, off := range []float64{5, -77, 180} {
		r := rig{p: craft, order: around(12, false)}.swing(rng)
		for i := range r {
			r[i].MagneticDeg += off
		}
		s, err := Fit(r, Options{Relative: true})
		if err != nil {
			t.Fatal(err)
		}
		want := known.Approximate
		want.A = 0
		if d := near(s.Approximate, want); d > 1e-9 || math.Abs(s.MaxDeviation-known.MaxDeviation) > math.Abs(known.Approximate.A)+1e-9 {
			t.Errorf("turned by %g: %+v, want %+v", off, s.Approximate, want)
		}
	}
	for _, exact := range []bool{false, true} {
		s, err := Fit(rig{p: craft, order: around(16, false)}.swing(rng), Options{Exact: exact})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range s.Rows {
			// The approximate form errs by some tenths of a degree here.
			if d := math.Abs(s.Deviation(r.MagneticDeg) - r.DeviationDeg); d > 0.35 || exact && d > 1e-6 {
				t.Errorf("exact %v at %.0f: %.3f off", exact, r.MagneticDeg, d)
			}
		}
	}
}

func TestSwingAccuracy(t *testing.T) {
	trials := simtest.Trials(500, 4000)
	truth, _ := craft.coefficients(arrowtest.Place.X, arrowtest.Place.Z)
	for _, tt := range []struct {
		n            int
		mark, stated float64 // degrees
	}{{8, 1, 1}, {12, 1, 1}, {16, 0.5, 1}, {8, 2, 2}} {
		rng := rand.New(rand.NewPCG(8, 0))
		var bias, scatter, stated [5]float64
		inside, bound := [5]int{}, crb(truth, tt.n, tt.mark)
		fits := 0
		for range trials {
			s, err := Fit(rig{p: craft, markDeg: tt.mark, order: around(tt.n, false), withoutField: true}.swing(rng), Options{Exact: true, HeadingDeg: tt.stated})
			if err != nil {
				t.Fatal(err)
			}
			if s.Cause.Kind != CauseNone {
				continue
			}
			fits++
			got, su, want := array5(s.ExactC), array5(s.ExactSU), array5(truth)
			for i := range got {
				d := got[i] - want[i]
				bias[i], scatter[i], stated[i] = bias[i]+d, scatter[i]+d*d, stated[i]+su[i]
				if math.Abs(d) < studentT(s.DF)*su[i] {
					inside[i]++
				}
			}
		}
		n := float64(fits)
		for i := range bias {
			sd := math.Sqrt(scatter[i] / n)
			cover := float64(inside[i]) / n
			t.Logf("%2d headings, %.1f degrees: coefficient %c: bias %+.5f, scatter %.5f, bound %.5f, stated %.5f, 95 %% interval holds %.3f",
				tt.n, tt.mark, "ABCDE"[i], bias[i]/n, sd, bound[i], stated[i]/n, cover)
			// Second-order bias of a nonlinear fit at 1 degree stays far under a
			// tenth of the scatter.
			if math.Abs(bias[i]/n) > 0.1*sd+4*sd/math.Sqrt(n) {
				t.Errorf("coefficient %c is biased by %.5f of a scatter of %.5f", "ABCDE"[i], bias[i]/n, sd)
			}
			if math.Abs(sd/bound[i]-1) > 0.06+4/math.Sqrt(2*n) {
				t.Errorf("coefficient %c: scatter %.5f, Cramer-Rao bound %.5f", "ABCDE"[i], sd, bound[i])
			}
			if cover < 0.94-3*math.Sqrt(0.0475/n) || tt.mark == tt.stated && cover > 0.985+3*math.Sqrt(0.0475/n) {
				t.Errorf("coefficient %c: the 95 %% interval holds %.3f", "ABCDE"[i], cover)
			}
		}
		if fits < trials*97/100 {
			t.Errorf("%d headings, %.1f degrees: %d of %d honest swings are accused", tt.n, tt.mark, trials-fits, trials)
		}
	}
}

// crb are the Cramer-Rao bounds of the exact coefficients, the headings being
// uncertain by su degrees, by differences of the curve itself.
func crb(c Coefficients, n int, su float64) [5]float64 {
	const h = 1e-6
	var normal [5][5]float64
	for _, z := range around(n, false) {
		var slope [5]float64
		for i, d := range []Coefficients{{A: h}, {B: h}, {C: h}, {D: h}, {E: h}} {
			up := Coefficients{c.A + d.A, c.B + d.B, c.C + d.C, c.D + d.D, c.E + d.E}
			slope[i] = (up.Exact(z) - c.Exact(z)) / h
		}
		// A wrong heading also moves the curve's own argument.
		along := 1 - (c.Exact(z+1e-4)-c.Exact(z))/1e-4
		for i := range 5 {
			for j := range 5 {
				normal[i][j] += slope[i] * slope[j] / (su * su * along * along)
			}
		}
	}
	return inverseRoots(normal)
}

// inverseRoots are the roots of the diagonal of the inverse, by Gauss-Jordan.
func inverseRoots(m [5][5]float64) [5]float64 {
	var inv [5][5]float64
	for i := range 5 {
		inv[i][i] = 1
	}
	for i := range 5 {
		p := m[i][i]
		for j := range 5 {
			m[i][j], inv[i][j] = m[i][j]/p, inv[i][j]/p
		}
		for k := range 5 {
			if f := m[k][i]; k != i {
				for j := range 5 {
					m[k][j], inv[k][j] = m[k][j]-f*m[i][j], inv[k][j]-f*inv[i][j]
				}
			}
		}
	}
	var out [5]float64
	for i := range 5 {
		out[i] = math.Sqrt(inv[i][i])
	}
	return out
}

func array5(c Coefficients) [5]float64 { return [5]float64{c.A, c.B, c.C, c.D, c.E} }

func studentT(df float64) float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile(0.975)
}

// TestCausesAreToldApart plays each mistake many times, with a module that
// sends its field and with a plain compass.
func TestCausesAreToldApart(t *testing.T) {
	trials := simtest.Trials(15, 60)
	for _, tt := range []struct {
		name                    string
		fields, headings        float64 // share that must be named rightly
		headingsOnly, fieldOnly bool
		play                    func(g *rig, rng *rand.Rand) (kind CauseKind, first int)
	}{
		{"honest", 0.98, 0.98, false, false, func(*rig, *rand.Rand) (CauseKind, int) { return CauseNone, -1 }},
		{"wrong by 180 degrees", 0.98, 0.98, false, false, func(g *rig, rng *rand.Rand) (CauseKind, int) {
			bad := rng.IntN(len(g.order))
			g.noted = func(i int, z float64) float64 {
				if i == bad {
					z = heading.Wrap360(z + 180)
				}
				return z
			}
			return CauseHalfTurn, bad
		}},
		{"one mark off", 0.95, 0.95, false, false, func(g *rig, rng *rand.Rand) (CauseKind, int) {
			bad := 1 + rng.IntN(len(g.order)-2)
			g.slip = func(i int) float64 {
				if i == bad {
					return 45
				}
				return 0
			}
			return CauseHeading, bad
		}},
		{"two exchanged", 0.95, 0.95, false, false, func(g *rig, rng *rand.Rand) (CauseKind, int) {
			a := 1 + rng.IntN(5)
			b := a + 1 + rng.IntN(7-a)
			g.noted = func(i int, z float64) float64 {
				switch i {
				case a:
					return g.order[b]
				case b:
					return g.order[a]
				}
				return z
			}
			return CauseExchanged, a
		}},
		{"the other way round", 0.98, 0.98, false, false, func(g *rig, _ *rand.Rand) (CauseKind, int) {
			g.noted = func(_ int, z float64) float64 { return heading.Wrap360(-z) }
			return CauseReversed, -1
		}},
		{"turntable moved", 0.9, 0.7, false, false, func(g *rig, rng *rand.Rand) (CauseKind, int) {
			from := 2 + rng.IntN(5)
			by := 15 * (1 - 2*float64(rng.IntN(2)))
			g.slip = func(i int) float64 {
				if i >= from {
					return by
				}
				return 0
			}
			return CauseTurntable, from
		}},
		{"magnet moved", 0.95, 0, false, true, func(g *rig, rng *rand.Rand) (CauseKind, int) {
			from := 2 + rng.IntN(5)
			q := g.p
			q.P, q.Q, q.R = q.P+4, q.Q-2, q.R+3
			g.moved = func(i int) poisson {
				if i >= from {
					return q
				}
				return g.p
			}
			return CauseMagnet, from
		}},
	} {
		for _, plain := range []bool{false, true} {
			if plain && tt.fieldOnly {
				continue
			}
			rng := rand.New(rand.NewPCG(9, 0))
			right := 0
			var wrong []string
			for range trials {
				g := rig{p: craft, markDeg: 0.7, noiseUT: 0.05, order: around(8, true), withoutField: plain}
				kind, first := tt.play(&g, rng)
				s, err := Fit(g.swing(rng), Options{})
				if err != nil {
					t.Fatalf("%s: %v", tt.name, err)
				}
				if s.Cause.Kind == kind && (first < 0 || s.Cause.First == first) {
					right++
				} else {
					wrong = append(wrong, string(s.Cause.Kind))
				}
				if kind != CauseNone && s.Cause.Kind == kind && (s.Cause.Remark().IsZero() || len(s.Remarks) == 0) {
					t.Errorf("%s: nothing is said", tt.name)
				}
			}
			want := tt.fields
			if plain {
				want = tt.headings
			}
			t.Logf("%-22s plain compass %-5v: %d of %d named; else %q", tt.name, plain, right, trials, wrong)
			if float64(right) < want*float64(trials) {
				t.Errorf("%s, plain compass %v: %d of %d named", tt.name, plain, right, trials)
			}
		}
	}
}

func TestSwingRefusals(t *testing.T) {
	rng := rand.New(rand.NewPCG(10, 0))
	for _, tt := range []struct {
		name  string
		order []float64
		says  string
	}{
		{"none", nil, "0 different"},
		{"two", []float64{0, 90}, "2 different"},
		{"two, often", []float64{0, 180, 0, 180, 0, 180, 1, 181}, "2 different"},
		{"one side", []float64{0, 20, 40, 60, 80, 100, 120}, "none between 120 and 0"},
	} {
		_, err := Fit(rig{order: tt.order}.swing(rng), Options{})
		if !errors.Is(err, ErrTooFew) || !strings.Contains(err.Error(), tt.says) {
			t.Errorf("%s: %v", tt.name, err)
		}
	}
	r := rig{order: around(8, false)}.swing(rng)
	r[3].CompassDeg = math.NaN()
	if _, err := Fit(r, Options{}); !errors.Is(err, errNumber) {
		t.Errorf("NaN: %v", err)
	}
}

// A slow turn read every two degrees has plenty of different headings, though
// each is near the next.
func TestSwingOfManyCloseHeadings(t *testing.T) {
	var order []float64
	for deg := 0.0; deg < 360; deg += 2 {
		order = append(order, deg)
	}
	s, err := Fit(rig{order: order}.swing(rand.New(rand.NewPCG(11, 0))), Options{})
	if err != nil || len(s.Rows) != len(order) {
		t.Errorf("%d rows, %v", len(s.Rows), err)
	}
	if got := different([]float64{359, 0, 2, 4, 180, 182, 358}); !slices.Equal(got, []float64{0, 4, 180}) {
		t.Errorf("different headings %v, want 0 4 180", got)
	}
}

func TestSwingIsNamedByItsHeadings(t *testing.T) {
	c := Cause{Kind: CauseExchanged, First: 1, Other: 2, Names: []float64{45, 90}}
	if got := c.Remark(); got.Code != "swing.exchanged" || got.Values["heading"] != "045" || got.Values["other"] != "090" {
		t.Error(got)
	}
	if !(Cause{}).Remark().IsZero() {
		t.Error("nothing wrong and something said")
	}
}
