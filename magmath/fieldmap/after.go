package fieldmap

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// After returns the posterior of the field after a change of the known field or
// the sources since the readings, such as the removal of a magnet. ground is
// the new known field; fields[i] returns the new unit fields of Sources[i], in
// equal number and order; nil: unchanged. The strengths of the sources and the
// field of the kernel keep their posterior from the readings, so that the
// uncertainty of a source moves with it. Readings and LeaveOneOut do not
// change.
//
// With F and G the unit fields before and after, S the variances of their
// multiples and K the kernel, the covariance of the field at p afterwards with
// a reading at q is G(p) S F(q)^T + K(p,q). Source: conditional of a joint
// normal distribution, Rasmussen and Williams (2006), eq. A.6.
func (m *Map) After(ground func(p r3.Vec) r3.Vec, fields ...func(p r3.Vec) []r3.Vec) *Map {
	out := *m
	if ground != nil {
		out.ground = ground
	}
	out.Sources = slices.Clone(m.Sources)
	for i, f := range fields {
		if f != nil {
			out.Sources[i].Fields = f
		}
	}
	out.known.sources = out.Sources
	return &out
}

// Grounded reports whether the map has a known mean field.
func (m *Map) Grounded() bool { return m.ground != nil }
