// Package arrow finds how a sensor lies in a craft from captures in known poses:
// the arrow check. In come poses, each with the field that the craft should see
// (craft frame, microtesla) and the field as read (sensor axes); out comes a
// Result: the rotation, the right-angle mounting next to it, the twist beyond that,
// a pose that does not belong to its name, and remarks. Start at Check.
package arrow

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// Options are what is known before an arrow check.
type Options struct {
	Calibrated   bool          // Got is corrected: no offset is sought
	PoseDeg      float64       // standard uncertainty of each pose; 0: 1.5 degrees
	ReferenceDeg float64       // standard uncertainty of the direction called north
	DipDeg       float64       // by how much the dip of the place may differ from Field's, one standard uncertainty; 0: 3 degrees
	Axes         *magmath.Mat3 // craft vector = Axes * sensor vector with the arrow to the nose; nil: the sensor's x is taken for the arrow, its z for the underside
	Field        r3.Vec        // of the place, x along what the poses call north: to name a missing pose
}

// Result is the result of an arrow check.
type Result struct {
	Rotation    magmath.Mat3 // craft vector = Rotation * sensor vector; determinant -1 if Mirrored
	Mounting    magmath.Mat3 // the right-angle turn nearest to the case's, craft frame = Mounting * case; mirrored if Mirrored
	Mirrored    bool
	ArrowPoints Way
	LabelFaces  Way

	TwistDeg         float64 // of the case about the vertical beyond Mounting, clockwise seen from above
	TwistStandardDeg float64
	RemainderDeg     float64 // the whole turn beyond Mounting
	ResidualDeg      float64 // root mean square over the poses: how far each is from the fit
	Scale            float64 // strength read over strength of the reference
	OffsetUT         r3.Vec  // of an uncalibrated probe, sensor axes

	Left    *BadPose // a pose that was left out because it fits none of the others
	Agree   bool     // the poses that count agree with one another
	Remarks []remark.Remark
}

// BadPose is a pose that does not belong to its name.
type BadPose struct {
	Name PoseName
	Fits PoseName // the pose that it looks like; empty: none
}

// PosesError reports that the poses cannot answer, and which one is missing.
type PosesError struct {
	Why     string
	Missing PoseName // empty: no single pose would help
}

func (e *PosesError) Error() string {
	if e.Missing == "" {
		return e.Why
	}
	return fmt.Sprintf("%s: add the pose %s", e.Why, e.Missing)
}

// What decides; common practice, no source.
const (
	usualPoseDeg   = 1.5  // a hand against a line on the bench
	usualDipDeg    = 3.0  // an ordinary room
	dipReach       = 4.0  // of these standard uncertainties the dip is sought within
	handEvidence   = 16.0 // chi square by which one hand must beat the other
	looksLike      = 4.0  // standard uncertainties within which a reading looks like another pose
	farFromAny     = 30.0 // degrees from every right-angle mounting that are worth a remark
	readableUT     = 1e6  // no magnetometer reads more
	fewestPoses    = 3
	fewestFreePose = 4
)

// Check finds how the sensor lies in the craft from captures in known
// poses. One pose of four or more may be wrong: it is named and left out.
//
// With a calibrated probe three poses can be enough; without, the offset of
// the probe is sought too and four are needed, of which one is tipped. Poses
// that cannot tell a mirrored sensor from a turned one, or do not fix the turn,
// are refused with a *PosesError that names the pose to add. Vectors that are
// not finite are refused as well.
func Check(poses []Pose, o Options) (Result, error) {
	if o.PoseDeg <= 0 {
		o.PoseDeg = usualPoseDeg
	}
	if o.DipDeg <= 0 {
		o.DipDeg = usualDipDeg
	}
	s := solver{free: !o.Calibrated, poseDeg: o.PoseDeg}
	for _, p := range poses {
		if !magmath.FiniteVec(p.Got) || !magmath.FiniteVec(p.Want) || r3.Norm(p.Got) > readableUT || math.IsNaN(p.NoiseUT) || math.IsInf(p.NoiseUT, 0) {
			return Result{}, &PosesError{Why: fmt.Sprintf("the capture named %s holds no finite field", p.Name)}
		}
	}
	if err := o.enough(s, poses); err != nil {
		return Result{}, err
	}
	t, ok := s.fitRoom(poses, o)
	if !ok {
		return Result{}, o.refuse(s, poses, "the poses do not fix how the sensor lies")
	}
	agree := magmath.Plausible(t.chi2, t.dof)
	var bad *BadPose
	if !agree {
		if rest, clean, i := s.leaveOne(poses, o); i >= 0 {
			bad = &BadPose{poses[i].Name, s.looksLike(clean, poses[i], tipped(o.Field, clean.dipDeg))}
			t, poses, agree = clean, rest, true
		} else if len(poses) <= s.fewest() {
			return Result{}, o.refuse(s, poses, "the poses contradict one another, and they are too few to say which is wrong")
		}
	}
	if t.other-t.chi2 < handEvidence*max(1, t.chi2/float64(max(t.dof, 1))) {
		return Result{}, o.refuse(s, poses, "these poses cannot tell mirrored axes from turned ones")
	}
	return s.answer(t, poses, o, bad, agree), nil
}

// FewestPoses returns how many different poses Check needs: one more for a probe
// that is not calibrated, whose own offset is fitted too.
func FewestPoses(calibrated bool) int {
	if calibrated {
		return fewestPoses
	}
	return fewestFreePose
}

func (s solver) fewest() int { return FewestPoses(!s.free) }

// answer makes the result of a fit.
func (s solver) answer(t turn, poses []Pose, o Options, bad *BadPose, agree bool) Result {
	a := Result{Rotation: t.q.Transpose(), Scale: t.scale, OffsetUT: t.offset, Left: bad, Agree: agree}
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

// remarks returns what is worth saying of the result.
func (a Result) remarks(o Options) []remark.Remark {
	var out []remark.Remark
	switch {
	case a.Left == nil:
	case a.Left.Fits == "":
		out = append(out, remark.New("arrow.left-out", remark.Values{"pose": string(a.Left.Name)}))
	default:
		out = append(out, remark.New("arrow.left-out:fits", remark.Values{"pose": string(a.Left.Name), "fits": string(a.Left.Fits)}))
	}
	if !a.Agree {
		out = append(out, remark.New("arrow.disagree", remark.Values{"residual_deg": a.ResidualDeg}))
	}
	if a.Mirrored {
		out = append(out, remark.New("arrow.mirrored"))
	}
	if a.RemainderDeg > farFromAny {
		out = append(out, remark.New("arrow.far-from-right-angle", remark.Values{"remainder_deg": a.RemainderDeg}))
	}
	if a.Scale < 0.8 || a.Scale > 1.25 {
		out = append(out, remark.New("arrow.strength", remark.Values{"ratio": a.Scale}))
	}
	if o.Axes == nil {
		out = append(out, remark.New("arrow.no-axes"))
	}
	return out
}
