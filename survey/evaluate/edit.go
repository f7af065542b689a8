package evaluate

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
)

// SourceEdit is an edit of a fitted source; the zero value leaves it unchanged.
type SourceEdit struct {
	Gone  bool    // removed
	By    r3.Vec  // displacement, mm
	Along *r3.Vec // unit vector along which a dipole's moment is turned; nil: as it was
}

// linear returns the field at p of source c after the edit, with its derivatives
// with respect to the parameters of c as fitted; at returns the same of c unedited.
func (x SourceEdit) linear(c source.Fitted, at func(r3.Vec) (r3.Vec, []r3.Vec), p r3.Vec) (r3.Vec, []r3.Vec) {
	there := r3.Sub(p, x.By)
	switch {
	case x.Gone:
		return r3.Vec{}, make([]r3.Vec, c.Cov.SymmetricDim())
	case x.Along != nil:
		return turned(c, *x.Along, there)
	}
	return at(there)
}

// turned returns the field at p of dipole c with its moment turned along a unit
// vector. The uncertainty of the moment's magnitude is kept, that of its direction
// no longer matters. On the dipole it returns a field beyond bounds and no
// derivatives.
func turned(c source.Fitted, along, p r3.Vec) (r3.Vec, []r3.Vec) {
	d := source.Dipole{AtMM: c.AtMM, MomentAm2: r3.Scale(r3.Norm(c.MomentAm2), along)}
	b, old := d.Field(p), r3.Unit(c.MomentAm2)
	if !magmath.FiniteVec(b) || r3.Norm(b) > magmath.BeyondUT {
		return r3.Vec{X: magmath.BeyondUT}, nil
	}
	unit := source.Basis(c.AtMM, p).Apply(along)
	j := d.Jacobian(p).Scale(-1)
	return b, []r3.Vec{
		r3.Scale(old.X, unit), r3.Scale(old.Y, unit), r3.Scale(old.Z, unit),
		{X: j[0][0], Y: j[1][0], Z: j[2][0]}, {X: j[0][1], Y: j[1][1], Z: j[2][1]}, {X: j[0][2], Y: j[1][2], Z: j[2][2]},
	}
}

// Change returns the change of the field by an edit of a source that the map is
// not based on: the new field less the old one, with the same parameters.
func (x SourceEdit) Change(c source.Fitted) Change {
	was := func(p r3.Vec) (r3.Vec, []r3.Vec) { return c.Field(p), c.Slopes(p) }
	return Change{
		Field: func(p r3.Vec) r3.Vec {
			b, _ := x.linear(c, was, p)
			return r3.Sub(b, c.Field(p))
		},
		Slopes: func(p r3.Vec) []r3.Vec {
			_, s := x.linear(c, was, p)
			out := c.Slopes(p)
			for i := range out {
				out[i] = r3.Scale(-1, out[i])
				if s != nil {
					out[i] = r3.Add(out[i], s[i])
				}
			}
			return out
		},
		Cov: c.Cov,
	}
}

// Change is a change of the field: its value, microtesla, its derivatives with
// respect to uncertain parameters, nil if there are none, and their covariance.
type Change struct {
	Field  func(p r3.Vec) r3.Vec
	Slopes func(p r3.Vec) []r3.Vec
	Cov    *mat.SymDense
}

// At returns the change at p and its derivatives. At a source the field exceeds
// every bound and there are no derivatives.
func (c Change) At(p r3.Vec) (r3.Vec, []r3.Vec) {
	b := c.Field(p)
	if !magmath.FiniteVec(b) || r3.Norm(b) > magmath.BeyondUT {
		return r3.Vec{X: magmath.BeyondUT}, nil
	}
	if c.Slopes == nil {
		return b, nil
	}
	s := c.Slopes(p)
	for _, v := range s {
		if !magmath.FiniteVec(v) {
			return r3.Vec{X: magmath.BeyondUT}, nil
		}
	}
	return b, s
}

// Covariance returns the covariance of the change at two places, microtesla
// squared, given its derivatives p and q there; zero if either place is at a
// source.
func (c Change) Covariance(p, q []r3.Vec) magmath.Mat3 {
	var m magmath.Mat3
	for i, u := range p {
		for j, v := range q {
			m = m.Add(magmath.Outer(u, v).Scale(c.Cov.At(i, j)))
		}
	}
	return m
}
