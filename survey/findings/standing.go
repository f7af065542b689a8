package findings

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
)

// standing is what a map may stand on: sources fitted to its readings, and
// what became of some of them since.
type standing struct {
	found         *source.Found
	readings      magmath.Readings // that they were fitted to: of many stations an even choice
	departure, sd []float64        // prior of the parameters, in the order of their derivatives
	fates         map[int]fate     // by number in found.Sources; absent: as it was
}

// with are the same sources after some met their fates.
func (s *standing) with(fates map[int]fate) *standing {
	out := *s
	out.fates = fates
	return &out
}

// linear is the sources' field at p and its derivatives by all parameters;
// beyond bounds and no derivatives on a source.
func (s *standing) linear(p r3.Vec) (r3.Vec, []r3.Vec) {
	if len(s.fates) == 0 {
		return s.found.Linear(p)
	}
	var b r3.Vec
	var slopes []r3.Vec
	for k, c := range s.found.Sources {
		own, some := s.fates[k].linear(c, func(q r3.Vec) (r3.Vec, []r3.Vec) { return s.found.LinearOf(k, q) }, p)
		if some == nil {
			return own, nil
		}
		b, slopes = r3.Add(b, own), append(slopes, some...)
	}
	return b, slopes
}

// ground is the field at p with every parameter at the centre of its prior, to
// first order about what was found.
func (s *standing) ground(p r3.Vec) r3.Vec {
	b, slopes := s.linear(p)
	for i, v := range slopes {
		b = r3.Add(b, r3.Scale(s.departure[i], v))
	}
	return b
}

// fields are the derivatives for parameters in units of their priors' standard
// deviations.
func (s *standing) fields(p r3.Vec) []r3.Vec {
	_, slopes := s.linear(p)
	out := make([]r3.Vec, len(s.sd))
	for i, v := range slopes {
		out[i] = r3.Scale(s.sd[i], v)
	}
	return out
}
