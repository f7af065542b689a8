package source

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// moved is an element with given parameters, and what a given change of them adds to
// its field to first order: its field and that change cost about as much as the
// field alone.
type moved struct {
	dipole Dipole
	place  r3.Vec // by how much a dipole's place changes
	moment r3.Vec // and its moment

	lead  bool
	wires wires // of a lead, at one ampere
	ends  wires // by how much their ends change
	amps  float64
	more  float64 // by how much the current changes
}

// moved returns element k of a model and a change of its parameters: strengths, then
// coordinates.
func (w whole) moved(k int, change []float64) moved {
	e, x := w.es[k], w.x[k]
	if e.wires == nil {
		return moved{dipole: Dipole{AtMM: place(e.coords), MomentAm2: place(x)}, moment: place(change), place: place(change[3:])}
	}
	m := moved{lead: true, wires: e.wires(e.coords), amps: x[0], more: change[0]}
	m.ends = make(wires, len(m.wires))
	for i, by := range e.moves() {
		for k, s := range by {
			m.ends[k].a = r3.Add(m.ends[k].a, r3.Scale(change[1+i], s.a))
			m.ends[k].b = r3.Add(m.ends[k].b, r3.Scale(change[1+i], s.b))
		}
	}
	return m
}

// field returns the field at p, microtesla, and by how much the change of the
// parameters changes it; NaN on the source.
func (m *moved) field(p r3.Vec) (b, more r3.Vec) {
	if !m.lead {
		return m.dipole.changed(p, m.place, m.moment)
	}
	var unit, slope r3.Vec
	for k, s := range m.wires {
		own, by := s.changed(p, m.ends[k])
		unit, slope = r3.Add(unit, own), r3.Add(slope, by)
	}
	return r3.Scale(wireUT*m.amps, unit), r3.Scale(wireUT, r3.Add(r3.Scale(m.more, unit), r3.Scale(m.amps, slope)))
}

// changed returns Field at p and by how much it changes, to first order, with the
// place and the moment: what Basis and Jacobian give, contracted.
func (d Dipole) changed(p, place, moment r3.Vec) (b, more r3.Vec) {
	r := r3.Sub(p, d.AtMM)
	n := length(r)
	if n == 0 {
		return undefined, undefined
	}
	u := r3.Scale(1/n, r)
	k := dipoleUT / (n * n * n)
	m := d.MomentAm2
	along := r3.Dot(m, u)
	b = r3.Scale(k, r3.Sub(r3.Scale(3*along, u), m))
	more = r3.Scale(k, r3.Sub(r3.Scale(3*r3.Dot(moment, u), u), moment))
	// Moving the dipole is moving the reader the other way.
	on := r3.Dot(u, place)
	by := r3.Add(r3.Scale(on, m), r3.Add(r3.Scale(r3.Dot(m, place)-5*along*on, u), r3.Scale(along, place)))
	return b, r3.Sub(more, r3.Scale(3*k/n, by))
}

// changed returns field at p and by how much it changes, to first order, with its
// ends: what slopes gives, contracted.
func (s segment) changed(p r3.Vec, ends segment) (b, more r3.Vec) {
	if s.a == s.b && ends.a == ends.b {
		return r3.Vec{}, r3.Vec{}
	}
	r1, r2 := r3.Sub(p, s.a), r3.Sub(p, s.b)
	n1, n2, dot := length(r1), length(r2), r3.Dot(r1, r2)
	c, d := r3.Cross(r3.Sub(s.b, s.a), r1), n1*n2+dot
	if dot < 0 { // as in field
		d = r3.Norm2(c) / (n1*n2 - dot)
	}
	if n1 == 0 || n2 == 0 || d == 0 {
		return undefined, undefined
	}
	g := (n1 + n2) / (n1 * n2 * d)
	b = r3.Scale(g, c)
	if ends == (segment{}) {
		return b, r3.Vec{}
	}
	h := func(r, other r3.Vec, n, m float64, end r3.Vec) float64 {
		return (1/(n*(n1+n2))-1/(n*n)-m/(n*d))*r3.Dot(r, end) - r3.Dot(other, end)/d
	}
	ln := h(r1, r2, n1, n2, ends.a) + h(r2, r1, n2, n1, ends.b)
	more = r3.Sub(r3.Scale(g, r3.Sub(r3.Cross(r2, ends.a), r3.Cross(r1, ends.b))), r3.Scale(ln, b))
	return b, more
}

// Moved returns the field, microtesla, that Linear and RivalLess give with fixed
// factors: that of all sources, and for each factor in turn (the parameters in the
// order of Linear, then the rivals) its share times the derivative or the difference.
// The function returned forms no single derivative and allocates nothing; several
// goroutines may use it. On a source the field is beyond bounds.
func (f *Found) Moved(factors []float64) func(p r3.Vec) r3.Vec {
	all := make([]moved, len(f.all.es))
	for k, e := range f.all.es {
		n := e.strengths() + len(e.coords)
		all[k], factors = f.all.moved(k, factors[:n]), factors[n:]
	}
	rivals := make([][]moved, len(f.rivals))
	for i, r := range f.rivals {
		for k, e := range r.es {
			rivals[i] = append(rivals[i], r.moved(k, make([]float64, e.strengths()+len(e.coords))))
		}
	}
	return func(p r3.Vec) r3.Vec {
		var found, more r3.Vec
		for k := range all {
			own, by := all[k].field(p)
			found, more = r3.Add(found, own), r3.Add(more, by)
		}
		if !bounded(found) || !bounded(more) {
			return r3.Vec{X: magmath.BeyondUT}
		}
		for i, elements := range rivals {
			var other r3.Vec
			for k := range elements {
				own, _ := elements[k].field(p)
				other = r3.Add(other, own)
			}
			less := r3.Sub(other, found)
			if !bounded(less) {
				less = r3.Vec{X: magmath.BeyondUT}
			}
			more = r3.Add(more, r3.Scale(factors[i], less))
		}
		return r3.Add(found, more)
	}
}

func bounded(b r3.Vec) bool { return magmath.FiniteVec(b) && r3.Norm(b) <= magmath.BeyondUT }
