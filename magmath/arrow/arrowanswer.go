package arrow

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// answer turns the fit into words and numbers.
func (s solver) answer(t turn, poses []Pose, o ArrowOptions, bad *BadPose, agree bool) Arrow {
	a := Arrow{Rotation: t.q.Transpose(), Scale: t.scale, OffsetUT: t.offset, Left: bad, Agree: agree}
	a.Mirrored = a.Rotation.Det() < 0
	inCase := a.Rotation
	if o.Axes != nil {
		inCase = a.Rotation.Mul(o.Axes.Transpose())
	}
	// A mirrored sensor has no case that could be turned so: the words are those
	// of the arrow and the label nevertheless.
	a.Mounting = NearestMounting(inCase)
	a.ArrowPoints = WayOf(a.Mounting.Apply(r3.Vec{X: 1}))
	a.LabelFaces = WayOf(a.Mounting.Apply(r3.Vec{Z: -1}))
	beyond := rotationVector(inCase.Mul(a.Mounting.Transpose()))
	a.TwistDeg, a.RemainderDeg = beyond.Z*180/math.Pi, r3.Norm(beyond)*180/math.Pi
	a.TwistStandardDeg = math.Hypot(math.Sqrt(t.cov[2][2])*180/math.Pi, o.ReferenceDeg)
	sum := 0.0
	for _, p := range poses {
		p = p.tipped(t.dipDeg, o.Field)
		angle := r3.Norm(r3.Sub(p.Got, t.predict(p.Want))) / (t.scale * r3.Norm(p.Want))
		sum += angle * angle
	}
	a.ResidualDeg = math.Sqrt(sum/float64(len(poses))) * 180 / math.Pi
	a.Remarks = a.remarks(o)
	return a
}

func (a Arrow) remarks(o ArrowOptions) []string {
	var out []string
	if a.Left != nil {
		out = append(out, a.Left.String())
	}
	if !a.Agree {
		out = append(out, fmt.Sprintf("the poses do not agree with one another (%.1f degrees off): was iron near, or were several held wrongly? Take them again", a.ResidualDeg))
	}
	if a.Mirrored {
		out = append(out, "the axes are mirrored: no turning of the module leads to them; one axis has the wrong sign or two are exchanged, or east and west (left and right) were exchanged while measuring")
	}
	if a.RemainderDeg > farFromAny {
		out = append(out, fmt.Sprintf("the module is %.0f degrees from the nearest right-angle mounting", a.RemainderDeg))
	}
	if a.Scale < 0.8 || a.Scale > 1.25 {
		out = append(out, fmt.Sprintf("the field read is %.2f times the reference: an unusual room, or a wrong unit", a.Scale))
	}
	if o.Axes == nil {
		out = append(out, "the craft file has no axes, so the sensor's x is taken for the arrow and its z for the underside")
	}
	return out
}
