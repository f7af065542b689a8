package report

import (
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
)

// promiseAnswer is the map's promise for the spot beside what a calibration of
// the finished craft found.
type promiseAnswer struct {
	PredictedUT vec      `json:"predicted_ut"`
	FoundUT     vec      `json:"found_ut"`
	OffUT       *float64 `json:"difference_ut"`
	PValue      *float64 `json:"p_value"`
	Kept        bool     `json:"kept"`
	Why         string   `json:"why"`
}

// Promised puts the comparison into the answer of a swing.
func (a *SwingAnswer) Promised(p heading.SteadyPromise, k heading.Kept) {
	a.Promise = promised(p, k)
}

func promised(p heading.SteadyPromise, k heading.Kept) *promiseAnswer {
	return &promiseAnswer{vecOf(p.Predicted), vecOf(p.Found), number(k.OffUT), number(k.PValue), k.Kept, PromiseSentence(p, k)}
}

// PromiseSentence says in plain words whether the map kept its promise.
func PromiseSentence(p heading.SteadyPromise, k heading.Kept) string {
	head := fmt.Sprintf("the map promised a steady part of %.1f uT at the spot, the calibration on the craft found %.1f uT", r3.Norm(p.Predicted), r3.Norm(p.Found))
	if k.Kept {
		return fmt.Sprintf("%s, %.1f uT apart: the promise is kept (p = %.2f)", head, k.OffUT, k.PValue)
	}
	return fmt.Sprintf("%s, %.1f uT apart: more than chance (%s). Was something fitted, turned or magnetised since the survey, or is the module elsewhere?", head, k.OffUT, smallP(k.PValue))
}

// smallP is a probability that may be too small to write out.
func smallP(p float64) string {
	if p < 0.001 {
		return "p < 0.001"
	}
	return fmt.Sprintf("p = %.3f", p)
}
