package arrow

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// PoseName names a way to hold the craft, or the module, for an arrow check.
type PoseName string

// The poses. The first four are level, the nose in that direction; the others
// start from the nose north and tip the craft by a quarter turn: the nose up
// or down, or on its left or right side; inverted is rolled by a half turn.
const (
	NoseNorth PoseName = "north"
	NoseEast  PoseName = "east"
	NoseSouth PoseName = "south"
	NoseWest  PoseName = "west"
	NoseUp    PoseName = "up"
	NoseDown  PoseName = "down"
	LeftDown  PoseName = "left"
	RightDown PoseName = "right"
	Inverted  PoseName = "inverted"
)

// PoseNames returns all poses, in the order in which a missing one is asked for.
func PoseNames() []PoseName {
	return []PoseName{NoseNorth, NoseEast, NoseSouth, NoseWest, NoseDown, NoseUp, RightDown, LeftDown, Inverted}
}

// Held says how to hold the craft in this pose.
func (p PoseName) Held() remark.Remark {
	to := remark.Values{"to": string(p)}
	switch p {
	case NoseUp, NoseDown:
		return remark.New("arrow.held:tipped", to)
	case LeftDown, RightDown:
		return remark.New("arrow.held:rolled", to)
	case Inverted:
		return remark.New("arrow.held:inverted")
	}
	return remark.New("arrow.held", to)
}

// In returns the field that the craft sees in this pose, in the craft frame, where
// field is that of the place with x along what the poses call north, y to the
// right of it and z down. ok is false for a name that is no pose.
func (p PoseName) In(field r3.Vec) (b r3.Vec, ok bool) {
	n, e, d := field.X, field.Y, field.Z
	switch p {
	case NoseNorth:
		return field, true
	case NoseEast:
		return r3.Vec{X: e, Y: -n, Z: d}, true
	case NoseSouth:
		return r3.Vec{X: -n, Y: -e, Z: d}, true
	case NoseWest:
		return r3.Vec{X: -e, Y: n, Z: d}, true
	case NoseUp: // the belly faces north
		return r3.Vec{X: -d, Y: e, Z: n}, true
	case NoseDown: // the belly faces south
		return r3.Vec{X: d, Y: e, Z: -n}, true
	case LeftDown: // the belly faces east
		return r3.Vec{X: n, Y: -d, Z: e}, true
	case RightDown: // the belly faces west
		return r3.Vec{X: n, Y: d, Z: -e}, true
	case Inverted:
		return r3.Vec{X: n, Y: -e, Z: -d}, true
	}
	return r3.Vec{}, false
}

// Way is one of the six directions of the craft.
type Way string

// The ways.
const (
	ToNose  Way = "nose"
	ToTail  Way = "tail"
	ToRight Way = "right"
	ToLeft  Way = "left"
	ToDown  Way = "down"
	ToUp    Way = "up"
)

// WayOf returns the way nearest to a vector in the craft frame; of equals the first
// in the order of the constants.
func WayOf(v r3.Vec) Way {
	best, way := 0.0, ToNose
	for _, c := range []struct {
		v        float64
		to, from Way
	}{{v.X, ToNose, ToTail}, {v.Y, ToRight, ToLeft}, {v.Z, ToDown, ToUp}} {
		if math.Abs(c.v) <= best {
			continue
		}
		best, way = math.Abs(c.v), c.to
		if c.v < 0 {
			way = c.from
		}
	}
	return way
}

// mountings returns the 24 right-angle turns, or with a hand of -1 their mirror
// images.
func mountings(hand float64) []magmath.Mat3 {
	var out []magmath.Mat3
	for _, p := range [6][3]int{{0, 1, 2}, {1, 2, 0}, {2, 0, 1}, {0, 2, 1}, {2, 1, 0}, {1, 0, 2}} {
		for bits := range 8 {
			var m magmath.Mat3
			for column, row := range p {
				m[row][column] = 1 - 2*float64(bits>>column&1)
			}
			if m.Det()*hand > 0 {
				out = append(out, m)
			}
		}
	}
	return out
}

// NearestMounting returns the right-angle turn, or for a mirrored m the mirrored
// one, that is nearest to m.
func NearestMounting(m magmath.Mat3) magmath.Mat3 {
	var best magmath.Mat3
	most := math.Inf(-1)
	for _, p := range mountings(math.Copysign(1, m.Det())) {
		if t := p.Transpose().Mul(m).Trace(); t > most {
			most, best = t, p
		}
	}
	return best
}

// rotationVector returns the turn of a rotation, in radians about its axis.
// Source: the matrix logarithm on SO(3); near a half turn the axis comes from
// the symmetric part.
func rotationVector(r magmath.Mat3) r3.Vec {
	w := r3.Scale(0.5, r3.Vec{X: r[2][1] - r[1][2], Y: r[0][2] - r[2][0], Z: r[1][0] - r[0][1]})
	sin := r3.Norm(w)
	angle := math.Atan2(sin, (r.Trace()-1)/2)
	if sin > 1e-9 {
		return r3.Scale(angle/sin, w)
	}
	if angle < 1 {
		return w
	}
	axis := r3.Vec{X: math.Sqrt(max(0, (r[0][0]+1)/2)), Y: math.Sqrt(max(0, (r[1][1]+1)/2)), Z: math.Sqrt(max(0, (r[2][2]+1)/2))}
	return r3.Scale(angle, axis)
}
