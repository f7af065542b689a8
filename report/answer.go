// Package report turns findings into what a person or a script sees: JSON
// answers, tables, pictures and sheets. It finds out nothing by itself: what a
// map shows between the stations it asks of the findings' own fields.
//
// All pictures show the craft from above, nose up, at one scale.
package report

import (
	"encoding/json"
	"io"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
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

func vecOf(v r3.Vec) Vec { return Vec{Tidy(v.X), Tidy(v.Y), Tidy(v.Z)} }

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
			out[i][j] = Tidy(out[i][j])
		}
	}
	return &out
}

// Number is a JSON number, or null for NaN: encoding/json refuses NaN.
func Number(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return new(Tidy(v))
}

// Quantiles are the 0.50 and the one-sided 0.95 quantile of a posterior.
type Quantiles struct {
	Estimate float64 `json:"estimate"`
	Upper95  float64 `json:"upper95"`
}

func quantilesOf(q heading.Quantiles) *Quantiles {
	if math.IsNaN(q.Estimate) || math.IsNaN(q.Upper95) {
		return nil
	}
	return &Quantiles{Tidy(q.Estimate), Tidy(q.Upper95)}
}

// HeadingError is a heading error with its posterior.
type HeadingError struct {
	Quantiles
	AnyDirection bool `json:"any_direction"`
}

func ErrorOf(e *heading.Error) *HeadingError {
	if e == nil || math.IsNaN(e.Estimate) {
		return nil
	}
	return &HeadingError{Quantiles{Tidy(e.Estimate), Tidy(e.Upper95)}, e.AnyDirection}
}
