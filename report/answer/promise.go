package answer

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/swing"
	"quietmount/report/say"
)

// Promise compares the map's promise for the spot with the calibration of the
// finished craft.
type Promise struct {
	Predicted   Vec      `json:"predicted_ut"`
	PredictedSU Vec      `json:"predicted_standard_uncertainty_ut"` // includes an allowance for induced magnetisation
	Found       Vec      `json:"found_ut"`
	FoundSU     Vec      `json:"found_standard_uncertainty_ut"`
	Induced     Vec      `json:"induced_ut"` // the part of Found that iron adds in the field of the survey
	OffUT       *float64 `json:"difference_ut"`
	PValue      *float64 `json:"p_value"`
	Kept        bool     `json:"kept"`
	Why         string   `json:"why"`
}

// NewPromise returns a comparison in its JSON form.
func NewPromise(p swing.SteadyPromise, k swing.Kept) Promise {
	return Promise{
		Predicted: vecOf(p.Predicted), PredictedSU: standardOf(p.PredictedCov, p.InducedUT),
		Found: vecOf(p.Found), FoundSU: standardOf(p.FoundCov, 0), Induced: vecOf(p.Induced),
		OffUT: Number(k.OffUT), PValue: Number(k.PValue), Kept: k.Kept, Why: PromiseSentence(p, k),
	}
}

// standardOf returns the standard uncertainties of the components of a covariance,
// each with a further one added.
func standardOf(cov magmath.Mat3, more float64) Vec {
	var v Vec
	for i := range v {
		v[i] = say.Tidy(math.Hypot(math.Sqrt(max(0, cov[i][i])), more))
	}
	return v
}

// Promised puts the comparison into the answer of a swing.
func (a *Swing) Promised(p swing.SteadyPromise, k swing.Kept) {
	a.Promise = new(NewPromise(p, k))
}

// PromiseSentence returns a sentence on whether the steady part found agrees
// with the map's prediction.
func PromiseSentence(p swing.SteadyPromise, k swing.Kept) string {
	head := fmt.Sprintf("the map promised a steady part of %.1f uT at the spot, the calibration on the craft found %.1f uT", r3.Norm(p.Predicted), r3.Norm(p.Found))
	if k.Kept {
		return fmt.Sprintf("%s, %.1f uT apart: the promise is kept (p = %.2f)", head, k.OffUT, k.PValue)
	}
	return fmt.Sprintf("%s, %.1f uT apart: more than chance (%s). Was something fitted, turned or magnetised since the survey, or is the module elsewhere?", head, k.OffUT, smallP(k.PValue))
}

// smallP returns a probability, which may be too small to write out.
func smallP(p float64) string {
	if p < 0.001 {
		return "p < 0.001"
	}
	return fmt.Sprintf("p = %.3f", p)
}
