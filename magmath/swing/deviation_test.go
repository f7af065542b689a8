package swing

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/arrow/arrowtest"
	"quietmount/magmath/heading"
)

// near is the largest difference of two sets of coefficients.
func near(a, b Coefficients) float64 {
	return max(math.Abs(a.A-b.A), math.Abs(a.B-b.B), math.Abs(a.C-b.C), math.Abs(a.D-b.D), math.Abs(a.E-b.E))
}

// example is a row of testdata/deviation.csv: coefficients and the deviations
// on the eight points by compass.
type example struct {
	c     Coefficients
	units string
	dev   [8]float64
}

func examples(t *testing.T) map[string]example {
	t.Helper()
	f, err := os.Open("testdata/deviation.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]example{}
	for _, row := range rows[1:] {
		num := func(i int) float64 {
			v, err := strconv.ParseFloat(row[i], 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		e := example{c: Coefficients{num(1), num(2), num(3), num(4), num(5)}, units: row[6]}
		for i := range e.dev {
			e.dev[i] = num(7 + i)
		}
		out[row[0]] = e
	}
	return out
}

// swingOf are the readings of the eight points by compass.
func swingOf(dev [8]float64) []Reading {
	var out []Reading
	for i, d := range dev {
		compass := 45 * float64(i)
		out = append(out, Reading{MagneticDeg: compass + d, CompassDeg: compass})
	}
	return out
}

func TestHandbookTable(t *testing.T) {
	// Source: NGA, Handbook of Magnetic Compass Adjustment (2004, formerly Pub.
	// 226), article 501; see testdata/deviation.csv. The two methods differ:
	// the classic formulas use four headings for B and C, least squares all.
	all := examples(t)
	table := all["pub226_501"]
	if got := classic8(table.dev); near(got, table.c) > 1e-9 {
		t.Errorf("classic %+v, want %+v", got, table.c)
	}
	s, err := Fit(swingOf(table.dev), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if got := s.Approximate; near(got, all["pub226_501_8pt_lsq"].c) > 5e-5 {
		t.Errorf("least squares %+v, want %+v", got, all["pub226_501_8pt_lsq"].c)
	}
	if s.Classic == nil || near(*s.Classic, table.c) > 1e-9 {
		t.Errorf("classic of the swing %+v (%v)", s.Classic, s.ClassicWhy)
	}
	// Residuals: at most 0.142 by the classic formulas, 0.071 by least squares.
	classic, least := 0.0, 0.0
	for i, r := range s.Rows {
		classic = max(classic, math.Abs(table.dev[i]-s.Classic.Approximate(45*float64(i))))
		least = max(least, math.Abs(r.DeviationDeg-r.FittedDeg))
	}
	if math.Abs(classic-0.142) > 1e-3 || math.Abs(least-0.071) > 1e-3 {
		t.Errorf("residuals %.4f and %.4f", classic, least)
	}
	if s.MaxDeviation != 20 || s.Cause.Kind != CauseNone {
		t.Errorf("largest %g, cause %+v", s.MaxDeviation, s.Cause)
	}
}

func TestExactCoefficients(t *testing.T) {
	// Source: computed from exact coefficients, see testdata/deviation.csv;
	// rounded to 0.001 degrees.
	for _, name := range []string{"exact_small", "exact_medium", "exact_large"} {
		e := examples(t)[name]
		for i, want := range e.dev {
			if got := e.c.exactAtCompass(45 * float64(i)); math.Abs(got-want) > 6e-4 {
				t.Errorf("%s at %d: %.4f, want %.3f", name, 45*i, got, want)
			}
		}
		s, err := Fit(swingOf(e.dev), Options{Exact: true})
		if err != nil {
			t.Fatal(err)
		}
		if d := near(s.ExactC, e.c); d > 2e-5 {
			t.Errorf("%s: exact by least squares %+v, want %+v", name, s.ExactC, e.c)
		}
		// The 1875 manual's conversion is good to 3e-4 for these.
		if d := near(s.Approximate.ExactFromApproximate(), e.c); d > 3.5e-4 {
			t.Errorf("%s: from approximate ones off by %.1e", name, d)
		}
	}
}

func TestPoissonsEquations(t *testing.T) {
	// The deviation by the coefficients against the field itself.
	rng := rand.New(rand.NewPCG(5, 0))
	for range 200 {
		v := func(s float64) float64 { return s * rng.NormFloat64() }
		p := poisson{v(.05), v(.05), v(.05), v(.05), v(.05), v(.05), v(.05), v(.05), v(.05), v(2), v(2), v(2)}
		h, z := 15+10*rng.Float64(), 60*rng.Float64()-30
		c, lambda := p.coefficients(h, z)
		mag := 360 * rng.Float64()
		s, k := math.Sincos(rad(mag))
		f := r3.Vec{X: h * k, Y: -h * s, Z: z}
		b := r3.Vec{
			X: f.X + p.AA*f.X + p.BB*f.Y + p.CC*f.Z + p.P,
			Y: f.Y + p.DD*f.X + p.EE*f.Y + p.FF*f.Z + p.Q,
			Z: f.Z,
		}
		compass, ok := heading.Compass(b, r3.Vec{})
		if got := c.Exact(mag); !ok || math.Abs(heading.Wrap180(mag-compass-got)) > 1e-9 {
			t.Fatalf("deviation %.6f by coefficients, %.6f by the field", got, heading.Wrap180(mag-compass))
		}
		if lambda <= 0 {
			t.Fatal("lambda", lambda)
		}
	}
}

func TestCompass(t *testing.T) {
	// Rolled, pitched and turned: the heading is the nose's, whatever the
	// attitude. Rotations by elementary angles (ISO 1151: yaw, pitch, roll).
	field := r3.Vec{X: 19, Z: 45}
	for _, a := range [][3]float64{{0, 0, 0}, {30, 0, 0}, {275, 20, 0}, {120, -35, 50}, {10, 5, 178}} {
		got, ok := heading.Compass(arrowtest.BodyOf(field, a), arrowtest.BodyOf(r3.Vec{Z: -1}, a))
		if !ok || math.Abs(heading.Wrap180(got-a[0])) > 1e-9 {
			t.Errorf("yaw, pitch, roll %v: heading %g, %v", a, got, ok)
		}
	}
	if got, ok := heading.Compass(r3.Vec{X: 0, Y: -10, Z: 3}, r3.Vec{}); !ok || got != 90 {
		t.Errorf("field from the left: %g, want 90", got)
	}
	for _, b := range []r3.Vec{{}, {Z: 40}, {X: math.NaN()}, {X: math.Inf(1)}} {
		if _, ok := heading.Compass(b, r3.Vec{}); ok {
			t.Errorf("%v gives a heading", b)
		}
	}
	if _, ok := heading.Compass(r3.Vec{X: 1, Y: 2, Z: 3}, r3.Vec{X: 1}); ok {
		t.Error("a nose straight up has a heading")
	}
}

// Five headings leave nothing over, so that nothing tells whether they fit:
// that must not look like a perfect fit.
func TestFiveHeadingsAreNotTested(t *testing.T) {
	var five []Reading
	for i := range 5 {
		compass := 72 * float64(i)
		five = append(five, Reading{MagneticDeg: compass + 2*math.Sin(rad(compass)), CompassDeg: compass})
	}
	s, err := Fit(five, Options{})
	if err != nil || !math.IsNaN(s.ResidualDeg) || !math.IsNaN(s.ResidualP) {
		t.Errorf("residual %g, p = %g, %v", s.ResidualDeg, s.ResidualP, err)
	}
}
