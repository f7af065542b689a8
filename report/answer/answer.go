// Package answer is what the commands answer: a struct for each, whose JSON a
// script reads and whose Text a person reads. It finds out nothing by itself. A
// JSON key carries its unit; what is not known is null, never zero.
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

// Quantiles are the 0.50 and the one-sided 0.95 quantile of a posterior.
type Quantiles struct {
	Estimate float64 `json:"estimate"`
	Upper95  float64 `json:"upper95"`
}

func quantilesOf(q heading.Quantiles) *Quantiles {
	if math.IsNaN(q.Estimate) || math.IsNaN(q.Upper95) {
		return nil
	}
	return &Quantiles{say.Tidy(q.Estimate), say.Tidy(q.Upper95)}
}

// HeadingError is a heading error with its posterior.
type HeadingError struct {
	Quantiles
	AnyDirection bool `json:"any_direction"`
}

// ErrorOf is a heading error as JSON; nil where there is none.
func ErrorOf(e *heading.Error) *HeadingError {
	if e == nil || math.IsNaN(e.Estimate) {
		return nil
	}
	return &HeadingError{Quantiles{say.Tidy(e.Estimate), say.Tidy(e.Upper95)}, e.AnyDirection}
}
