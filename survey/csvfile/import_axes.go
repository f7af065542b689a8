package csvfile

import (
	"fmt"
	"strings"

	"quietmount/magmath"
	"quietmount/survey"
)

// ParseAxes reads three signed letters apart by commas, like "+x,-y,-z": the
// craft directions of the sensor's own x, y and z, as AxesFromLetters takes
// them.
func ParseAxes(text string) (magmath.Mat3, error) {
	letters := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return strings.ContainsRune(",; \t[]\"", r) })
	m, err := survey.AxesFromLetters(letters)
	if err != nil {
		return magmath.Mat3{}, fmt.Errorf("axes %.40q: %w (like +x,-y,-z)", text, err)
	}
	return m, nil
}
