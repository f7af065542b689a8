package evaluate

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
)

// SourceModel is what a map may stand on: sources fitted to its readings, and
// what became of some of them since.
type SourceModel struct {
	Found         *source.Found
	Readings      magmath.Readings   // that they were fitted to: of many stations an even choice
	departure, sd []float64          // prior of the parameters, in the order of their derivatives
	fates         map[int]SourceEdit // by number in found.Sources; absent: as it was
}

// With are the same sources after some met their fates.
func (s *SourceModel) With(fates map[int]SourceEdit) *SourceModel {
	out := *s
	out.fates = fates
	return &out
}

// linear is the sources' field at p and its derivatives by all parameters;
// beyond bounds and no derivatives on a source.
func (s *SourceModel) linear(p r3.Vec) (r3.Vec, []r3.Vec) {
	if len(s.fates) == 0 {
		return s.Found.Linear(p)
	}
	var b r3.Vec
	var slopes []r3.Vec
	for k, c := range s.Found.Sources {
		own, some := s.fates[k].linear(c, func(q r3.Vec) (r3.Vec, []r3.Vec) { return s.Found.LinearOf(k, q) }, p)
		if some == nil {
			return own, nil
		}
		b, slopes = r3.Add(b, own), append(slopes, some...)
	}
	return b, slopes
}

// Ground is the field at p with every parameter at the centre of its prior, to
// first order about what was found.
func (s *SourceModel) Ground(p r3.Vec) r3.Vec {
	b, slopes := s.linear(p)
	for i, v := range slopes {
		b = r3.Add(b, r3.Scale(s.departure[i], v))
	}
	return b
}

// Fields are the derivatives for parameters in units of their priors' standard
// deviations.
func (s *SourceModel) Fields(p r3.Vec) []r3.Vec {
	_, slopes := s.linear(p)
	out := make([]r3.Vec, len(s.sd))
	for i, v := range slopes {
		out[i] = r3.Scale(s.sd[i], v)
	}
	return out
}
