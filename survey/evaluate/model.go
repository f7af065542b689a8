package evaluate

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/source"
)

// SourceModel is a set of sources fitted to the readings of a map, with the
// edits made to some of them afterwards.
type SourceModel struct {
	Found         *source.Found
	Readings      magmath.Readings   // the readings of the fit: an even selection if there are many stations
	departure, sd []float64          // prior of the parameters, in the order of their derivatives, then of the rivals
	edits         map[int]SourceEdit // by number in found.Sources; absent: as it was
}

// With returns the model with edited sources, by their number in Found.Sources.
func (s *SourceModel) With(edits map[int]SourceEdit) *SourceModel {
	out := *s
	out.edits = edits
	return &out
}

// linear returns the field of the sources at p and its derivatives with respect to
// all parameters; on a source a field beyond bounds and no derivatives.
func (s *SourceModel) linear(p r3.Vec) (r3.Vec, []r3.Vec) {
	if len(s.edits) == 0 {
		return s.Found.Linear(p)
	}
	var b r3.Vec
	var slopes []r3.Vec
	for k := range s.Found.Elements() {
		linear := func(q r3.Vec) (r3.Vec, []r3.Vec) { return s.Found.LinearOf(k, q) }
		own, some := linear(p)
		if k < len(s.Found.Sources) {
			own, some = s.edits[k].linear(s.Found.Sources[k], linear, p)
		}
		if some == nil {
			return own, nil
		}
		b, slopes = r3.Add(b, own), append(slopes, some...)
	}
	return b, slopes
}

// fieldOf returns the field of source k as it was fitted, after its edit; on the
// source it is beyond bounds or not finite.
func (s *SourceModel) fieldOf(k int) func(p r3.Vec) r3.Vec {
	c, edit := s.Found.Sources[k], s.edits[k]
	fitted := func(p r3.Vec) (r3.Vec, []r3.Vec) { return c.Field(p), nil }
	return func(p r3.Vec) r3.Vec {
		b, _ := edit.linear(c, fitted, p)
		return b
	}
}

// newSourceModel returns the model of sources found in readings. Models with other
// sources that explain the readings as well enter as terms of their own, the
// difference of their field times a variable with the mean and variance of a choice
// by their probability: an average over the models, to second moments, each rival
// weighed against the best by itself.
func newSourceModel(found *source.Found, of magmath.Readings) *SourceModel {
	s := &SourceModel{Found: found, Readings: of}
	s.departure, s.sd = found.Prior()
	for _, p := range found.Rivals() {
		s.departure, s.sd = append(s.departure, p), append(s.sd, math.Sqrt(p*(1-p)))
	}
	return s
}

// At returns the field at p with every parameter at the centre of its prior, to
// first order about the fit, microtesla, and the derivatives with respect to the
// parameters, each in units of the standard deviation of its prior.
func (s *SourceModel) At(p r3.Vec) (r3.Vec, []r3.Vec) {
	b, slopes := s.linear(p)
	if slopes == nil {
		return b, make([]r3.Vec, len(s.sd))
	}
	for k := range s.Found.Rivals() {
		slopes = append(slopes, s.Found.RivalLess(k, p))
	}
	for i, v := range slopes {
		b = r3.Add(b, r3.Scale(s.departure[i], v))
		slopes[i] = r3.Scale(s.sd[i], v)
	}
	return b, slopes
}

// moved returns what At gives, its field and the multiples of its derivatives, as one
// field.
func (s *SourceModel) moved(multiples []float64) func(p r3.Vec) r3.Vec {
	factors := make([]float64, len(s.departure))
	for i, d := range s.departure {
		factors[i] = d + s.sd[i]*multiples[i]
	}
	return s.Found.Moved(factors)
}

// SourceMean returns the model as the field that a map departs from.
func (s *SourceModel) SourceMean() *fieldmap.SourceMean {
	mean := &fieldmap.SourceMean{Name: "fitted sources", At: s.At}
	if len(s.edits) == 0 {
		mean.Moved = s.moved
	}
	return mean
}
