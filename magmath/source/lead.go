package source

import (
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

// Field is the field at p in microtesla; NaN on the wire itself. Fewer than
// two points have no field.
func (l Lead) Field(p r3.Vec) r3.Vec {
	var sum r3.Vec
	if l.CurrentA == 0 {
		return sum
	}
	for i := 1; i < len(l.PathMM); i++ {
		sum = r3.Add(sum, segment{l.PathMM[i-1], l.PathMM[i]}.field(p))
	}
	return r3.Scale(wireUT*l.CurrentA, sum)
}

// Jacobian is dB_i/dp_j at p in microtesla per millimetre: without trace, and
// symmetric where the path is closed. NaN on the wire.
func (l Lead) Jacobian(p r3.Vec) magmath.Mat3 {
	var sum magmath.Mat3
	if l.CurrentA == 0 {
		return sum
	}
	for i := 1; i < len(l.PathMM); i++ {
		sum = sum.Add(segment{l.PathMM[i-1], l.PathMM[i]}.jacobian(p))
	}
	return sum.Scale(wireUT * l.CurrentA)
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

// shape holds what field and gradient share: with r1, r2 from the ends to p,
// c = r1 x r2, n1, n2 their lengths and d = n1 n2 + r1.r2, the field is c g
// with g = (n1+n2)/(n1 n2 d).
//
// Source: Hanson and Hirshman, Compact expressions for the Biot-Savart fields
// of a filamentary segment, Physics of Plasmas 9 (2002) 4410; from memory,
// the same as mu0 I/(4 pi rho) (sin t2 - sin t1) of Griffiths, Ex. 5.5.
type shape struct {
	r1, r2, c r3.Vec
	n1, n2, d float64
}

func (s segment) shape(p r3.Vec) shape {
	q := shape{r1: r3.Sub(p, s.a), r2: r3.Sub(p, s.b)}
	q.c = r3.Cross(r3.Sub(s.b, s.a), q.r1)
	q.n1, q.n2 = length(q.r1), length(q.r2)
	dot := r3.Dot(q.r1, q.r2)
	q.d = q.n1*q.n2 + dot
	if dot < 0 { // beside the wire the sum cancels; |c|^2 is the product of sum and difference
		q.d = r3.Norm2(q.c) / (q.n1*q.n2 - dot)
	}
	return q
}

func (q shape) onWire() bool { return q.n1 == 0 || q.n2 == 0 || q.d == 0 }

func (q shape) g() float64 { return (q.n1 + q.n2) / (q.n1 * q.n2 * q.d) }

// field is the field of one ampere over mu0/4pi, per millimetre.
func (s segment) field(p r3.Vec) r3.Vec {
	if s.a == s.b {
		return r3.Vec{}
	}
	q := s.shape(p)
	if q.onWire() {
		return undefined
	}
	return r3.Scale(q.g(), q.c)
}

// jacobian is the derivative of field: g [b-a]x + c (grad g)^T.
func (s segment) jacobian(p r3.Vec) magmath.Mat3 {
	if s.a == s.b {
		return magmath.Mat3{}
	}
	q := s.shape(p)
	if q.onWire() {
		return undefinedMat()
	}
	u1, u2 := r3.Scale(1/q.n1, q.r1), r3.Scale(1/q.n2, q.r2)
	gradSum := r3.Add(u1, u2)
	gradProduct := r3.Add(r3.Scale(q.n2, u1), r3.Scale(q.n1, u2))
	gradD := r3.Add(gradProduct, r3.Add(q.r1, q.r2))
	rel := r3.Scale(1/(q.n1+q.n2), gradSum)
	rel = r3.Sub(rel, r3.Scale(1/(q.n1*q.n2), gradProduct))
	rel = r3.Sub(rel, r3.Scale(1/q.d, gradD))
	g := q.g()
	return magmath.Cross(r3.Sub(s.b, s.a)).Scale(g).Add(magmath.Outer(q.c, r3.Scale(g, rel)))
}
