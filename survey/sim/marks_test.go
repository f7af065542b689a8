package sim

import (
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// line returns n stations in a row, 60 mm apart.
func line(n int) []survey.Station {
	out := make([]survey.Station, n)
	for i := range out {
		out[i] = survey.Station{Name: string(rune('A' + i)), At: r3.Vec{X: 60 * float64(i), Y: 30}}
	}
	return out
}

var noon = time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
