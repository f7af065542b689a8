package survey

import (
	"math"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

func TestAxesFromLetters(t *testing.T) {
	// The sensor's x points to the tail, its y to the left, its z down.
	m, err := AxesFromLetters([]string{"-x", "-y", "+z"})
	if err != nil {
		t.Fatal(err)
	}
	if got := m.Apply(r3.Vec{X: 1, Y: 2, Z: 3}); got != (r3.Vec{X: -1, Y: -2, Z: 3}) {
		t.Errorf("%v", got)
	}
	// The sensor's x points right, its y to the tail.
	m, err = AxesFromLetters([]string{"Y", "-x", "z"})
	if err != nil {
		t.Fatal(err)
	}
	if got := m.Apply(r3.Vec{X: 1, Y: 2, Z: 3}); got != (r3.Vec{X: -2, Y: 1, Z: 3}) {
		t.Errorf("%v", got)
	}
}

// Of the 48 ways to name the axes just the 24 rotations of the cube are
// possible, and flipping the letter that the error names gives one of them.
func TestAxesAreTheRotationsOfTheCube(t *testing.T) {
	good := 0
	for _, order := range []string{"xyz", "yzx", "zxy", "xzy", "zyx", "yxz"} {
		for signs := range 8 {
			letters := make([]string, 3)
			for i := range 3 {
				letters[i] = string("+-"[signs>>i&1]) + order[i:i+1]
			}
			m, err := AxesFromLetters(letters)
			if err == nil {
				good++
				again, err := AxesFromLetters(strings.FieldsFunc(FormatAxes(m), func(r rune) bool { return strings.ContainsRune(`[]", `, r) }))
				if err != nil || again != m || m.Det() != 1 {
					t.Errorf("%v: %s, %v", letters, FormatAxes(m), err)
				}
				continue
			}
			flipped := []string{letters[0], letters[1], string("-+"[signs>>2&1]) + order[2:]}
			if _, again := AxesFromLetters(flipped); again != nil || !strings.Contains(err.Error(), `"`+flipped[2]+`"`) {
				t.Errorf("%v: %v; flipped: %v", letters, err, again)
			}
		}
	}
	if good != 24 {
		t.Errorf("%d rotations, want 24", good)
	}
}

func TestAxesFromDirections(t *testing.T) {
	// A turn by 30 degrees to the right about z, written to four decimals.
	m, err := AxesFromDirections([3][3]float64{{0.866, 0.5, 0}, {-0.5, 0.866, 0}, {0, 0, 1}})
	if err != nil {
		t.Fatal(err)
	}
	s, c := math.Sincos(math.Pi / 6)
	want := magmath.Mat3{{c, -s, 0}, {s, c, 0}, {0, 0, 1}}
	gram := m.Transpose().Mul(m)
	for i := range 3 {
		for j := range 3 {
			if math.Abs(m[i][j]-want[i][j]) > 1e-4 || math.Abs(gram[i][j]-magmath.Identity()[i][j]) > 1e-12 {
				t.Fatalf("%v, want %v", m, want)
			}
		}
	}
	mirrored, err := AxesFromDirections([3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, -1}})
	if err != nil || mirrored.Det() != -1 {
		t.Errorf("mirrored: %v, %v", mirrored, err)
	}
	if _, err := AxesFromDirections([3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, math.NaN()}}); err == nil {
		t.Error("NaN is taken")
	}
	if _, err := AxesFromDirections([3][3]float64{}); err == nil {
		t.Error("zeros are taken")
	}
}

func TestParseAxes(t *testing.T) {
	// The sensor's x points left, its y to the nose, its z down.
	m, err := ParseAxes("-y,+x,+z")
	if err != nil {
		t.Fatal(err)
	}
	if got, want := m.Apply(r3.Vec{X: 1, Y: 2, Z: 3}), (r3.Vec{X: 2, Y: -1, Z: 3}); got != want {
		t.Errorf("got %v, want %v", got, want)
	}
	if m, err := ParseAxes(" X, -Y, -z"); err != nil || m != magmath.Diagonal(1, -1, -1) {
		t.Errorf("%v %v", m, err)
	}
	for _, bad := range []string{"", "+x,+y", "+x,+y,+z,+x", "+x,+x,+z", "x,y,w", "++x,y,z", "-x,+y,+z", "y,x,z"} {
		if m, err := ParseAxes(bad); err == nil {
			t.Errorf("%q: %v", bad, m)
		}
	}
}
