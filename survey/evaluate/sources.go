package evaluate

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/room"
	"quietmount/magmath/source"
	"quietmount/survey"
)

// Priors of named sources, with a factor of about four either way: a magnet
// of 0.05 A m2, conductors that lie 3 mm apart where none is stated.
const (
	usualMomentAm2 = 0.05
	usualGapMM     = 3
)

// named returns the parts of the craft file that can make a part of the field:
// magnetic parts the steady one, leads that of their load.
func (e *evaluation) named(load int) []fieldmap.Source {
	var out []fieldmap.Source
	for _, p := range e.f.Craft.Parts {
		switch {
		case load == room.NoLoad && p.Magnetic && p.AtMM != nil:
			out = append(out, magnet(p.Name, *p.AtMM))
		case load != room.NoLoad && len(p.PathMM) > 1 && p.Load == e.f.Craft.Loads[load].Name:
			out = append(out, lead(p, e.f.Craft.Loads[load].MaxCurrentA)...)
		}
	}
	return out
}

// magnet has three multiples: its moment along x, y and z.
func magnet(name string, at r3.Vec) fieldmap.Source {
	return fieldmap.Source{Name: name, LogSD: math.Log(usualMomentAm2), Fields: func(p r3.Vec) []r3.Vec {
		g := source.Basis(at, p)
		return []r3.Vec{g.Apply(r3.Vec{X: 1}), g.Apply(r3.Vec{Y: 1}), g.Apply(r3.Vec{Z: 1})}
	}}
}

// lead has two multiples, for the pair's gap in two directions across the
// path at the maximum current; or one where the return runs elsewhere, for
// the whole circuit.
func lead(p survey.Part, currentA float64) []fieldmap.Source {
	if !(currentA > 0) {
		return nil
	}
	if len(p.ReturnPathMM) > 1 {
		c := source.Circuit(p.PathMM, p.ReturnPathMM, currentA)
		return []fieldmap.Source{{Name: p.Name, Fields: func(q r3.Vec) []r3.Vec { return []r3.Vec{c.Field(q)} }}}
	}
	gap := p.GapMM
	if !(gap > 0) {
		gap = usualGapMM
	}
	along := r3.Sub(p.PathMM[len(p.PathMM)-1], p.PathMM[0])
	side := r3.Cross(r3.Vec{Z: 1}, along)
	if r3.Norm(side) == 0 {
		side = r3.Vec{Y: 1}
	}
	var circuits []source.Lead
	for _, across := range []r3.Vec{side, r3.Cross(along, side)} {
		q := source.Pair{PathMM: p.PathMM, GapMM: gap, CurrentA: currentA, Across: across}
		circuits = append(circuits, q.Circuit())
	}
	return []fieldmap.Source{{Name: p.Name, Fields: func(q r3.Vec) []r3.Vec {
		return []r3.Vec{circuits[0].Field(q), circuits[1].Field(q)}
	}}}
}

// Scaled is the map of a load with the uncertainty of its current, which is common
// to all places.
type Scaled struct {
	*fieldmap.Map
	SD float64 // relative standard uncertainty of the current
}

// At implements Field.
func (s Scaled) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	mean, cov := s.Map.At(p)
	return mean, cov.Add(outerScaled(mean, s.SD*s.SD)).Add(formOf(mean))
}

// Predict is At for many places.
func (s Scaled) Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	mean, cov := s.Map.Predict(points)
	for i, m := range mean {
		cov[i] = cov[i].Add(outerScaled(m, s.SD*s.SD)).Add(formOf(m))
	}
	return mean, cov
}

// Ceiling implements boundedField.
func (s Scaled) Ceiling(points, mean []r3.Vec) []magmath.Mat3 {
	cov := s.Map.Ceiling(points)
	for i, m := range mean {
		cov[i] = cov[i].Add(outerScaled(m, s.SD*s.SD)).Add(formOf(m))
	}
	return cov
}

// Joint is the joint posterior.
func (s Scaled) Joint(points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	mean, cov := s.Map.Joint(points)
	if cov != nil {
		addScaled(cov, mean, s.SD)
	}
	return mean, cov
}

// formShare is how far the field of a real lead departs from that of the fitted one, of
// its size: leads sag, lie unevenly and are twisted, magnets are no points. Common
// practice, no source; held against craft of a second generator.
const formShare = 0.05

// formOf returns the covariance of that departure, in whatever direction.
func formOf(mean r3.Vec) magmath.Mat3 {
	v := formShare * formShare * r3.Norm2(mean) / 3
	return magmath.Diagonal(v, v, v)
}

// addScaled adds to the covariance of some fields, three rows each, what a factor of
// some means, such as a current, that is uncertain by sd does to all of them together.
func addScaled(cov *mat.SymDense, mean []r3.Vec, sd float64) {
	if !(sd > 0) {
		return
	}
	v := mat.NewVecDense(3*len(mean), nil)
	for i, m := range mean {
		v.SetVec(3*i, m.X)
		v.SetVec(3*i+1, m.Y)
		v.SetVec(3*i+2, m.Z)
	}
	cov.SymRankOne(cov, sd*sd, v)
}

func outerScaled(v r3.Vec, f float64) magmath.Mat3 { return magmath.Outer(v, v).Scale(f) }
