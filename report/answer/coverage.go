package answer

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/calib"
)

// coverageRows draws the two halves of the sphere of directions side by side
// in characters: # where the field came from there, . where not yet. Each half
// is an equal-area projection about the sensor's z axis, x up and y to the
// right.
//
// Source: Lambert's azimuthal equal-area projection; Snyder 1987, Map
// Projections: A Working Manual, U.S. Geological Survey Professional Paper
// 1395, ch. 24 (from memory).
func coverageRows(cells []int) []string {
	const high, wide = 9, 19
	out := []string{"sensor's +z half     -z half (x up, y right; # shown, . not yet)"}
	for row := range high {
		var b strings.Builder
		for half := range 2 {
			for col := range wide {
				x := 1 - 2*(float64(row)+0.5)/high
				y := 2*(float64(col)+0.5)/wide - 1
				b.WriteByte(coverageMark(cells, x, y, half == 1))
			}
			if half == 0 {
				b.WriteString("  ")
			}
		}
		out = append(out, strings.TrimRight(b.String(), " "))
	}
	return out
}

func coverageMark(cells []int, x, y float64, below bool) byte {
	r2 := x*x + y*y
	if r2 > 1 {
		return ' '
	}
	k := math.Sqrt(2 - r2)
	u := r3.Vec{X: x * k, Y: y * k, Z: 1 - r2}
	if below {
		u.Z = -u.Z
	}
	if i := calib.Cell(u); i < len(cells) && cells[i] > 0 {
		return '#'
	}
	return '.'
}
