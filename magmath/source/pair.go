package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Pair is a supply and a return conductor side by side along one path, joined
// at both ends: a closed circuit. It needs at least two points.
type Pair struct {
	PathMM   []r3.Vec // the middle between the two
	GapMM    float64  // between the two; 0 (twisted, or one over the other): no field at all
	CurrentA float64
	Across   r3.Vec // from return to supply, any length; its part along the path is dropped; zero: level, to the right of the path seen from above
}

// Circuit is the pair as one closed lead: out along the supply, back along
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

// Field is the field at p in microtesla; NaN on a conductor.
func (q Pair) Field(p r3.Vec) r3.Vec { return q.Circuit().Field(p) }

// Jacobian is dB_i/dp_j at p in microtesla per millimetre; NaN on a conductor.
func (q Pair) Jacobian(p r3.Vec) magmath.Mat3 { return q.Circuit().Jacobian(p) }

// across is the unit vector from return to supply, at right angles to the
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
