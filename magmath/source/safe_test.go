package source

import (
	"fmt"
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

func within(t *testing.T, what string, got, want, relative float64) {
	t.Helper()
	if !(math.Abs(got-want) <= relative*math.Abs(want)) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// Source: IEC 60945 and ISO 25862 limits of 5.4 degrees/H and 18 degrees/H,
// 94.2 and 314 nT whatever H; and for a 10 x 2 mm disc of Br 1.30 T, 0.1625
// A m2, the distances 0.70 and 0.47 m at which its axial field reaches them.
func TestPublishedLimits(t *testing.T) {
	for _, h := range []float64{11, 18.1, 31} {
		within(t, "standard", h*math.Sin(5.4/h*math.Pi/180), StandardLimitUT, 2e-4)
		within(t, "reduced", h*math.Sin(18/h*math.Pi/180), ReducedLimitUT, 2e-3)
	}
	within(t, "standard, nT", 1000*StandardLimitUT, 94.2, 1e-3)
	within(t, "reduced, nT", 1000*ReducedLimitUT, 314, 1e-3)
	m := CylinderMoment(1.30, 10, 2)
	within(t, "moment", m, 0.1625, 1e-3)
	within(t, "reduced distance", DipoleDistance(m, ReducedLimitUT), 470, 0.01)
	within(t, "standard distance", DipoleDistance(m, StandardLimitUT), 700, 0.01)
}

// No orientation of the dipole is worse than that on its axis.
func TestAxisIsWorst(t *testing.T) {
	d := Dipole{MomentAm2: r3.Vec{X: .03, Y: -.05, Z: .02}}
	r := DipoleDistance(r3.Norm(d.MomentAm2), 1)
	within(t, "on the axis", r3.Norm(d.Field(r3.Scale(r, r3.Unit(d.MomentAm2)))), 1, 1e-9)
	for _, u := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}, {X: 1, Y: 1}, {X: .3, Y: -.5, Z: .1}} {
		if b := r3.Norm(d.Field(r3.Scale(r, r3.Unit(u)))); b > 1 {
			t.Errorf("toward %v: %v uT", u, b)
		}
	}
}

// A pair of conductors falls with the square of the distance: 10 A at 5 mm
// spacing make 1.0 uT at 0.1 m, one wire 20 uT (2e-7 I/r).
// Source: the long straight wire of any textbook, e.g. Griffiths, Ex. 5.5.
func TestPathDistance(t *testing.T) {
	path := []r3.Vec{{X: -4000, Y: 10}, {X: 4000, Y: 10}}
	pair := Pair{PathMM: path, GapMM: 5, CurrentA: 10}
	// At the ends, where the conductors are joined, the field is a little
	// stronger than beside the middle.
	within(t, "pair", PathDistance(path, pair.Field, 1), 100, 0.03)
	within(t, "pair at a quarter", PathDistance(path, pair.Field, 0.25), 200, 0.03)
	wire := Lead{PathMM: path, CurrentA: 10}
	within(t, "wire", PathDistance(path, wire.Field, 20), 100, 0.01)
}

// A point written twice adds nothing to a path.
func TestPathDistanceOfARepeatedPoint(t *testing.T) {
	path := []r3.Vec{{X: -40}, {X: 40}, {X: 40, Y: 60}}
	wire := Lead{PathMM: path, CurrentA: 10}
	want := PathDistance(path, wire.Field, 2)
	for _, i := range []int{0, 1, 2} {
		within(t, fmt.Sprint("point ", i+1, " twice"), PathDistance(slices.Insert(slices.Clone(path), i, path[i]), wire.Field, 2), want, 1e-9)
	}
}

func TestDistanceEdges(t *testing.T) {
	path := []r3.Vec{{}, {X: 100}}
	none := func(r3.Vec) r3.Vec { return r3.Vec{} }
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"no moment", DipoleDistance(0, 1), 0},
		{"no limit", DipoleDistance(1, 0), math.Inf(1)},
		{"no field", PathDistance(path, none, 1), 0},
		{"path without limit", PathDistance(path, none, 0), math.Inf(1)},
		{"no path", PathDistance(nil, none, 1), 0},
		{"uniform", PathDistance(path, func(r3.Vec) r3.Vec { return r3.Vec{X: 2} }, 1), math.Inf(1)},
	} {
		if c.got != c.want {
			t.Errorf("%s: %v, want %v", c.name, c.got, c.want)
		}
	}
}

// Source: makers' tables as named at Grade; the energy product of an ideal
// magnet, Br^2/(4 mu0), must reach the number in the grade's name (in MGOe, 1
// MGOe = 7.957 kJ/m3) within its published tolerance of about 8 %.
func TestGrades(t *testing.T) {
	for name, want := range map[string][2]float64{
		"N35": {1.195, 0.025}, "n42": {1.30, 0.02}, "N52": {1.45, 0.03}, "N45SH": {1.35, 0.03}, "ferrite": {0.385, 0.015},
	} {
		br, e, err := Grade(name)
		if err != nil {
			t.Fatal(err)
		}
		within(t, name, br, want[0], 1e-9)
		within(t, name+" tolerance", e, want[1], 1e-6)
	}
	for name, mgoe := range map[string]float64{"N35": 35, "N38": 38, "N40": 40, "N42": 42, "N45": 45, "N48": 48, "N50": 50, "N52": 52} {
		br, _, err := Grade(name)
		if err != nil {
			t.Fatal(err)
		}
		within(t, name, br*br/(4*Mu0)/7957.7, mgoe, 0.08)
	}
	for _, bad := range []string{"", "N99", "iron", "YSH"} {
		if _, _, err := Grade(bad); err == nil {
			t.Errorf("grade %q passes", bad)
		}
	}
}
