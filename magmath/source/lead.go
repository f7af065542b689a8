package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Lead is a thin wire along straight pieces from the first point of its path
// to the last. An open path is not a circuit: its field is the Biot-Savart
// integral over the piece given, and curl B is not zero around it. Repeat the
// first point at the end to close it.
type Lead struct {
	PathMM   []r3.Vec
	CurrentA float64 // positive along the path
}

// Field returns the field at p in microtesla; NaN on the wire itself. Fewer than
// two points have no field.
func (l Lead) Field(p r3.Vec) r3.Vec {
	var b r3.Vec
	if l.CurrentA == 0 {
		return b
	}
	for i := 1; i < len(l.PathMM); i++ {
		b = r3.Add(b, segment{l.PathMM[i-1], l.PathMM[i]}.field(p))
	}
	return r3.Scale(wireUT*l.CurrentA, b)
}

// wires are the pieces of a circuit of one ampere.
type wires []segment

func (l Lead) wires() wires {
	var w wires
	for i := 1; i < len(l.PathMM); i++ {
		w = append(w, segment{l.PathMM[i-1], l.PathMM[i]})
	}
	return w
}

// field returns the field of one ampere, microtesla.
func (w wires) field(p r3.Vec) r3.Vec {
	var b r3.Vec
	for _, s := range w {
		b = r3.Add(b, s.field(p))
	}
	return r3.Scale(wireUT, b)
}

// Circuit closes a lead: out along one path, back along another, with
// straight joins where their ends do not meet.
func Circuit(outMM, backMM []r3.Vec, currentA float64) Lead {
	path := append([]r3.Vec(nil), outMM...)
	path = append(path, backMM...)
	if len(path) > 0 {
		path = append(path, path[0])
	}
	return Lead{PathMM: path, CurrentA: currentA}
}

// segment is one straight piece, current from a to b.
type segment struct{ a, b r3.Vec }

// field returns the field of one ampere over mu0/4pi, per millimetre; NaN on the
// segment. With r1, r2 from the ends to p, c = r1 x r2, n1, n2 their lengths and
// d = n1 n2 + r1.r2 it is c (n1+n2)/(n1 n2 d).
//
// Source: Hanson and Hirshman, Compact expressions for the Biot-Savart fields
// of a filamentary segment, Physics of Plasmas 9 (2002) 4410; from memory,
// the same as mu0 I/(4 pi rho) (sin t2 - sin t1) of Griffiths, Ex. 5.5.
func (s segment) field(p r3.Vec) r3.Vec {
	if s.a == s.b {
		return r3.Vec{}
	}
	r1, r2 := r3.Sub(p, s.a), r3.Sub(p, s.b)
	c := r3.Cross(r3.Sub(s.b, s.a), r1)
	n1, n2, dot := length(r1), length(r2), r3.Dot(r1, r2)
	d := n1*n2 + dot
	if dot < 0 { // beside the wire the sum cancels; |c|^2 is the product of sum and difference
		d = r3.Norm2(c) / (n1*n2 - dot)
	}
	if n1 == 0 || n2 == 0 || d == 0 {
		return undefined
	}
	return r3.Scale((n1+n2)/(n1*n2*d), c)
}

// slopes returns the derivatives of field by the place of either end.
//
// Source: the derivative of field as stated there, with r1 x r2 for c and
// d ln g = u1.dr1/(n1+n2) - u1.dr1/n1 - (n2 u1 + r2).dr1/d for its factor g and the
// first end, u1 the unit vector of r1; likewise for the second.
func (s segment) slopes(p r3.Vec) (byA, byB magmath.Mat3) {
	r1, r2 := r3.Sub(p, s.a), r3.Sub(p, s.b)
	n1, n2, dot := length(r1), length(r2), r3.Dot(r1, r2)
	c, d := r3.Cross(r3.Sub(s.b, s.a), r1), n1*n2+dot
	if dot < 0 { // as in field
		d = r3.Norm2(c) / (n1*n2 - dot)
	}
	if n1 == 0 || n2 == 0 || d == 0 {
		return undefinedMat(), undefinedMat()
	}
	g := (n1 + n2) / (n1 * n2 * d)
	h := func(r, other r3.Vec, n, m float64) r3.Vec {
		return r3.Sub(r3.Scale(1/(n*(n1+n2))-1/(n*n)-m/(n*d), r), r3.Scale(1/d, other))
	}
	b := r3.Scale(g, c)
	byA = magmath.Cross(r3.Scale(g, r2)).Add(magmath.Outer(b, h(r1, r2, n1, n2)).Scale(-1))
	byB = magmath.Cross(r3.Scale(-g, r1)).Add(magmath.Outer(b, h(r2, r1, n2, n1)).Scale(-1))
	return byA, byB
}

// Pair is a supply and a return conductor side by side along one path, joined
// at both ends: a closed circuit. It needs at least two points.
type Pair struct {
	PathMM   []r3.Vec // the middle between the two
	GapMM    float64  // between the two; 0 (twisted, or one over the other): no field at all
	CurrentA float64
	Across   r3.Vec // from return to supply, any length; its part along the path is dropped; zero: level, to the right of the path seen from above
}

// Circuit returns the pair as one closed lead: out along the supply, back along
// the return.
func (q Pair) Circuit() Lead {
	if q.GapMM == 0 || len(q.PathMM) < 2 {
		return Lead{}
	}
	half := r3.Scale(q.GapMM/2, q.across())
	out := make([]r3.Vec, 0, len(q.PathMM))
	back := make([]r3.Vec, 0, len(q.PathMM))
	for i, p := range q.PathMM {
		out = append(out, r3.Add(p, half))
		back = append(back, r3.Sub(q.PathMM[len(q.PathMM)-1-i], half))
	}
	return Circuit(out, back, q.CurrentA)
}

// Field returns the field at p in microtesla; NaN on a conductor.
func (q Pair) Field(p r3.Vec) r3.Vec { return q.Circuit().Field(p) }

// across returns the unit vector from return to supply, at right angles to the
// path from end to end.
func (q Pair) across() r3.Vec {
	along := r3.Unit(r3.Sub(q.PathMM[len(q.PathMM)-1], q.PathMM[0]))
	if !magmath.FiniteVec(along) { // a path that comes back to its start
		along = r3.Vec{}
	}
	down := r3.Vec{Z: 1}
	for _, try := range []r3.Vec{q.Across, r3.Cross(down, along), {Y: 1}, {X: 1}} {
		v := r3.Sub(try, r3.Scale(r3.Dot(try, along), along))
		if n := r3.Norm(v); n > 1e-9*max(1, r3.Norm(try)) && !math.IsInf(n, 0) {
			return r3.Scale(1/n, v)
		}
	}
	return down
}
