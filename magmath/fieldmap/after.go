package fieldmap

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// After is the posterior of the field after the known field and the sources
// have become others than they were while the readings were taken: a magnet
// taken away, say. ground is the known field as it is then, fields[i] are the
// unit fields of Sources[i], as many as before and in their order; nil: as
// they were. The multiples of the unit fields, and what the kernel stands for,
// are still those that the readings tell of, so that what is not known of a
// source goes with it. Readings and LeaveOneOut stay those of the readings.
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

// Grounded tells whether the map stands on a field taken for known.
func (m *Map) Grounded() bool { return m.ground != nil }
