package source

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Every row of the table of textbook values, within half its last digit and
// a part in 1e7 for the long wires and many-sided loops that stand for
// infinite ones and circles.
func TestTextbook(t *testing.T) {
	for _, row := range readTable(t, "testdata/textbook.csv") {
		check, n := row[0], numbers(t, row[1:])
		got := textbook(t, check, n[0], n[1], n[2], n[3])
		want, tol := n[4], n[5]/2+1e-7*n[4]
		if !(math.Abs(got-want) <= tol) {
			t.Errorf("%s %v: got %.9g, want %.9g within %.1g", check, n[:4], got, want, tol)
		}
	}
}

func textbook(t *testing.T, check string, strength, size1, size2, z float64) float64 {
	long := func(y float64) []r3.Vec { return []r3.Vec{{X: -1e7, Y: y}, {X: 1e7, Y: y}} }
	back := func(y float64) []r3.Vec { return []r3.Vec{{X: 1e7, Y: y}, {X: -1e7, Y: y}} }
	twoWires := func(p r3.Vec) float64 {
		out, in := Lead{long(size1 / 2), strength}, Lead{back(-size1 / 2), strength}
		return r3.Norm(r3.Add(out.Field(p), in.Field(p)))
	}
	switch check {
	case "wire":
		return r3.Norm(Lead{long(0), strength}.Field(r3.Vec{Y: z}))
	case "wire_finite":
		return r3.Norm(Lead{[]r3.Vec{{X: -size1 / 2}, {X: size1 / 2}}, strength}.Field(r3.Vec{Y: z}))
	case "pair_in_plane":
		return twoWires(r3.Vec{Y: z})
	case "pair_bisector":
		return twoWires(r3.Vec{Z: z})
	case "loop":
		return circle(strength, size1).Field(r3.Vec{Z: z}).Z
	case "loop_as_dipole":
		m := strength * math.Pi * size1 * size1 * 1e-6
		return Dipole{MomentAm2: r3.Vec{Z: m}}.Field(r3.Vec{Z: z}).Z
	case "dipole_axial":
		return Dipole{MomentAm2: r3.Vec{X: strength}}.Field(r3.Vec{X: z}).X
	case "dipole_equatorial":
		return -Dipole{MomentAm2: r3.Vec{X: strength}}.Field(r3.Vec{Y: z}).X
	case "disc_moment":
		return CylinderMoment(strength, size1, size2)
	case "cylinder":
		return cylinderAxial(strength, size1, size2, z)
	}
	t.Fatalf("unknown check %q", check)
	return 0
}

func circle(currentA, radiusMM float64) Lead {
	const n = 20000
	path := make([]r3.Vec, n+1)
	for i := range path {
		s, c := math.Sincos(2 * math.Pi * float64(i%n) / n)
		path[i] = r3.Vec{X: radiusMM * c, Y: radiusMM * s}
	}
	return Lead{path, currentA}
}

func readTable(t *testing.T, name string) [][]string {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil || len(rows) < 20 {
		t.Fatalf("%s: %d rows, %v", name, len(rows), err)
	}
	return rows[1:]
}

func numbers(t *testing.T, fields []string) []float64 {
	t.Helper()
	out := make([]float64, len(fields))
	for i, s := range fields {
		v, err := strconv.ParseFloat(s, 64)
		if err != nil {
			t.Fatal(err)
		}
		out[i] = v
	}
	return out
}

// A uniform sphere of iron of very high permeability: m = 4 pi a^3 B/mu0
// (Jackson, section 5.11, the limit; from memory), so at its pole, where the
// dipole is exact, the field is three times the ambient one.
func TestSphereOfIron(t *testing.T) {
	s := SoftIron{Polarizability: SpherePolarizability(10, 1e9)}
	ambient := r3.Vec{X: 20, Y: -7, Z: 45}
	at := r3.Scale(10, r3.Unit(ambient))
	total := r3.Add(ambient, s.Induced(ambient).Field(at))
	if d := r3.Norm(r3.Sub(total, r3.Scale(3, ambient))); d > 1e-5 {
		t.Errorf("field at the pole %v, want three times %v", total, ambient)
	}
	if weak := SpherePolarizability(10, 0); weak.Trace() != 0 {
		t.Errorf("what is not magnetic was magnetised: %v", weak)
	}
}

// A long rod is far easier to magnetise along itself than across: with N near
// 0 and 1/2 and chi = 100 the ratio is 1 + 50 = 51.
func TestRodOfIron(t *testing.T) {
	a := Polarizability(1000, 100, r3.Vec{X: 0, Y: .5, Z: .5})
	if got := a[0][0] / a[1][1]; math.Abs(got-51) > 1e-9 {
		t.Errorf("ratio %v, want 51", got)
	}
}

// cylinderAxial is the field in microtesla on the axis of a disc or rod
// magnetised along it, zMM outside its pole face (negative: inside, where B
// is meant).
//
// Source: the textbook formula (Br/2)[(L+z)/sqrt(R^2+(L+z)^2) -
// z/sqrt(R^2+z^2)], as in the notes of magnet makers.
func cylinderAxial(brT, diameterMM, lengthMM, zMM float64) float64 {
	r, far := diameterMM/2, lengthMM+zMM
	return brT * 1e6 / 2 * (far/math.Hypot(r, far) - zMM/math.Hypot(r, zMM))
}
