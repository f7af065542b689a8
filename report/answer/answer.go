// Package answer holds the answers of the commands: one struct for each, with
// JSON for scripts and Text for people. It computes no results of its own. A
// JSON key carries its unit; an unknown value is null, never zero.
package answer

import (
	"encoding/json"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/report/say"
)

// WriteJSON writes v as indented JSON and a final newline.
func WriteJSON(w io.Writer, v any) error {
	enc := json.NewEncoder(w)
	enc.SetIndent("", "  ")
	enc.SetEscapeHTML(false)
	return enc.Encode(v)
}

// Vec is a vector as JSON: [x, y, z].
type Vec [3]float64

func vecOf(v r3.Vec) Vec { return Vec{say.Tidy(v.X), say.Tidy(v.Y), say.Tidy(v.Z)} }

// placed is a place in the craft frame.
type placed struct {
	Xmm float64 `json:"x_mm"`
	Ymm float64 `json:"y_mm"`
	Zmm float64 `json:"z_mm"`
}

func placedAt(v r3.Vec) placed { return placed{say.Tidy(v.X), say.Tidy(v.Y), say.Tidy(v.Z)} }

func vecPointer(v *r3.Vec) *Vec {
	if v == nil {
		return nil
	}
	return new(vecOf(*v))
}

// matOf is a 3 by 3 matrix as JSON, row by row.
func matOf(m magmath.Mat3) *[3][3]float64 {
	out := [3][3]float64(m)
	for i := range out {
		for j := range out[i] {
			out[i][j] = say.Tidy(out[i][j])
		}
	}
	return &out
}

// Number is a JSON number, or null for NaN: encoding/json refuses NaN.
func Number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return new(say.Tidy(v))
}

// tidied returns quantiles rounded for JSON; nil, which is null, if they are not
// known.
func tidied(q heading.Quantiles) *heading.Quantiles {
	if math.IsNaN(q.Estimate) || math.IsNaN(q.Upper95) {
		return nil
	}
	return &heading.Quantiles{Estimate: say.Tidy(q.Estimate), Upper95: say.Tidy(q.Upper95)}
}

// ErrorOf returns a heading error rounded for JSON; nil if there is none.
func ErrorOf(e *heading.Error) *heading.Error {
	if e == nil || math.IsNaN(e.Estimate) {
		return nil
	}
	return &heading.Error{Quantiles: heading.Quantiles{Estimate: say.Tidy(e.Estimate), Upper95: say.Tidy(e.Upper95)}, AnyDirection: e.AnyDirection}
}
