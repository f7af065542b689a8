package survey

import (
	"fmt"
	"strings"

	"quietmount/magmath"
)

// ParseAxes reads three signed letters apart by commas, like "+x,-y,-z": the
// craft directions in which the sensor's own x, y and z point, as in the craft
// file. The result turns a sensor vector into the craft frame. A mapping that
// mirrors (determinant -1) is refused: no sensor can be mounted like that,
// though one may be labelled so, which a matrix in the craft file can state.
func ParseAxes(text string) (magmath.Mat3, error) {
	const want = `write the craft directions of the sensor's x, y, z as three signed letters, like "+x,-y,-z"`
	words := strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(",; \t", r) })
	if len(words) != 3 {
		return magmath.Mat3{}, fmt.Errorf("axes %q: %s", text, want)
	}
	var m magmath.Mat3
	var used [3]bool
	for sensor, w := range words {
		craft, sign, ok := axisOf(strings.ToLower(w))
		if !ok {
			return magmath.Mat3{}, fmt.Errorf("axes %q: %q is no axis; %s", text, w, want)
		}
		if used[craft] {
			return magmath.Mat3{}, fmt.Errorf("axes %q: two sensor axes along the craft's %c; %s", text, 'x'+rune(craft), want)
		}
		used[craft] = true
		m[craft][sensor] = sign
	}
	if m.Det() < 0 {
		return magmath.Mat3{}, fmt.Errorf("axes %q are a mirror image, not a rotation: one sign is wrong or two letters are exchanged", text)
	}
	return m, nil
}

func axisOf(w string) (axis int, sign float64, ok bool) {
	sign = 1
	if rest, cut := strings.CutPrefix(w, "-"); cut {
		w, sign = rest, -1
	} else {
		w = strings.TrimPrefix(w, "+")
	}
	if len(w) != 1 || w[0] < 'x' || w[0] > 'z' {
		return 0, 0, false
	}
	return int(w[0] - 'x'), sign, true
}
