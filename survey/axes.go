package survey

import (
	"fmt"
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"

	"quietmount/magmath"
)

// AxesError reports a mistake in the written axes of a sensor.
type AxesError struct {
	Msg, Hint string
	Entry     int // which of the three, from 0; -1: all of them
}

// Error returns the message and what to write instead.
func (e *AxesError) Error() string {
	if e.Hint == "" {
		return e.Msg
	}
	return e.Msg + "; " + e.Hint
}

// AxesFromLetters reads three signed letters: the craft directions of the
// sensor's own x, y and z. A letter without a sign is positive. The matrix
// turns a sensor vector into a craft vector. A mirrored set is an error. The
// error is an *AxesError.
func AxesFromLetters(letters []string) (magmath.Mat3, error) {
	var m magmath.Mat3
	if len(letters) != 3 {
		return m, &AxesError{Entry: -1, Msg: fmt.Sprintf("axes want three signed letters, not %d", len(letters)), Hint: `write ["+x", "+y", "+z"]`}
	}
	used := [3]bool{}
	for i, letter := range letters {
		axis, sign, ok := axisLetter(letter)
		if !ok {
			return m, &AxesError{Entry: i, Msg: fmt.Sprintf("%.60q is no axis", letter), Hint: "write +x, -x, +y, -y, +z or -z"}
		}
		if used[axis] {
			return m, &AxesError{Entry: i, Msg: fmt.Sprintf("axes name %c twice", "xyz"[axis]), Hint: "each of x, y and z is named once"}
		}
		used[axis] = true
		m[axis][i] = sign
	}
	if m.Det() < 0 {
		return m, mirroredAxes(letters[2], m)
	}
	return m, nil
}

// ParseAxes reads three signed letters separated by commas, like "+x,-y,-z": the
// craft directions of the sensor's own x, y and z, as AxesFromLetters takes
// them.
func ParseAxes(text string) (magmath.Mat3, error) {
	letters := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return strings.ContainsRune(",; \t[]\"", r) })
	m, err := AxesFromLetters(letters)
	if err != nil {
		return magmath.Mat3{}, fmt.Errorf("axes %.40q: %w (like +x,-y,-z)", text, err)
	}
	return m, nil
}

func axisLetter(s string) (axis int, sign float64, ok bool) {
	sign = 1
	rest, minus := strings.CutPrefix(s, "-")
	if minus {
		sign = -1
	} else {
		rest, _ = strings.CutPrefix(s, "+")
	}
	axis = strings.Index("xyz", strings.ToLower(rest))
	return axis, sign, len(rest) == 1 && axis >= 0
}

// mirroredAxes explains a left-handed set and which letter to flip.
func mirroredAxes(third string, m magmath.Mat3) *AxesError {
	flipped := m
	for row := range 3 {
		flipped[row][2] = -flipped[row][2]
	}
	return &AxesError{
		Entry: 2,
		Msg:   "these axes are mirrored: no turning of a right-handed sensor leads to them",
		Hint: fmt.Sprintf("flip the sign of one letter, most often of the third (%q): write %s; for a sensor whose own axes are left-handed write three directions",
			third, FormatAxes(flipped)),
	}
}

// axesTolerance is how far three written directions may be from unit length
// and right angles: rounding to three decimals stays below it.
const axesTolerance = 2e-3

// AxesFromDirections returns the orthogonal matrix nearest to d, the craft
// directions of the sensor's own x, y and z, one vector each. The matrix turns
// a sensor vector into a craft vector. Directions that differ from an
// orthogonal set by more than rounding are an *AxesError. A mirrored set is
// accepted, for sensors whose own axes are left-handed; its determinant is -1.
func AxesFromDirections(d [3][3]float64) (magmath.Mat3, error) {
	m := magmath.Mat3(d).Transpose()
	if !m.Finite() {
		return m, &AxesError{Entry: -1, Msg: "axes want finite numbers"}
	}
	gram := m.Transpose().Mul(m)
	for i := range 3 {
		for j := range 3 {
			want := 0.0
			if i == j {
				want = 1
			}
			if math.Abs(gram[i][j]-want) > axesTolerance {
				return m, &AxesError{Entry: max(i, j), Msg: "axes are not at right angles and of length 1", Hint: "the arrow check finds and stores them"}
			}
		}
	}
	return nearestOrthogonal(m), nil
}

// nearestOrthogonal is U V^T of the singular value decomposition of m.
// Source: G. H. Golub, C. F. Van Loan, Matrix Computations, 4th edition,
// section 6.4.1 (orthogonal Procrustes problem).
func nearestOrthogonal(m magmath.Mat3) magmath.Mat3 {
	var svd mat.SVD
	if !svd.Factorize(mat.NewDense(3, 3, []float64{m[0][0], m[0][1], m[0][2], m[1][0], m[1][1], m[1][2], m[2][0], m[2][1], m[2][2]}), mat.SVDFull) {
		return m
	}
	var u, v, r mat.Dense
	svd.UTo(&u)
	svd.VTo(&v)
	r.Mul(&u, v.T())
	return magmath.Block(&r, 0, 0)
}

// FormatAxes returns m as the craft file writes it under the key axes: three
// signed letters if m only exchanges and reverses axes, else three direction
// vectors.
func FormatAxes(m magmath.Mat3) string {
	var letters, directions []string
	for column := range 3 {
		d := [3]float64{m[0][column], m[1][column], m[2][column]}
		directions = append(directions, fmt.Sprintf("[%.6f, %.6f, %.6f]", d[0], d[1], d[2]))
		for axis, v := range d {
			if math.Abs(math.Abs(v)-1) < 1e-9 {
				letters = append(letters, fmt.Sprintf(`"%s%c"`, map[bool]string{true: "+", false: "-"}[v > 0], "xyz"[axis]))
			}
		}
	}
	if len(letters) == 3 {
		return "[" + strings.Join(letters, ", ") + "]"
	}
	return "[" + strings.Join(directions, ", ") + "]"
}
