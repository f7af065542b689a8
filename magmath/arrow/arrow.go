package arrow

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// ArrowOptions say what is known before an arrow check.
type ArrowOptions struct {
	Calibrated   bool          // Got is corrected: no offset is sought
	PoseDeg      float64       // standard uncertainty of each pose; 0: 1.5 degrees
	ReferenceDeg float64       // standard uncertainty of the direction called north
	DipDeg       float64       // by how much the dip of the place may differ from Field's, one standard uncertainty; 0: 3 degrees
	Axes         *magmath.Mat3 // craft vector = Axes * sensor vector with the arrow to the nose; nil: the sensor's x is taken for the arrow, its z for the underside
	Field        r3.Vec        // of the place, x along what the poses call north: to name a missing pose
}

// Arrow is the result of an arrow check.
type Arrow struct {
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
	Remarks []string
}

// BadPose is a pose that does not belong to its name.
type BadPose struct {
	Name PoseName
	Fits PoseName // the pose that it looks like; empty: none
}

func (b BadPose) String() string {
	if b.Fits == "" {
		return fmt.Sprintf("the capture named %s fits none of the other poses and was left out; take it again", b.Name)
	}
	return fmt.Sprintf("the capture named %s looks like %s and was left out; take it again", b.Name, b.Fits)
}

// PosesError says that the poses cannot answer, and which one is missing.
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
	surelyNot      = 1e-3 // probability under which poses disagree
	handEvidence   = 16.0 // chi square by which one hand must beat the other
	looksLike      = 4.0  // standard uncertainties within which a reading looks like another pose
	farFromAny     = 30.0 // degrees from every right-angle mounting that are worth a remark
	readableUT     = 1e6  // no magnetometer reads more
	fewestPoses    = 3
	fewestFreePose = 4
)

// CheckArrow finds how the sensor lies in the craft from captures in known
// poses. One pose of four or more may be wrong: it is named and left out.
//
// With a calibrated probe three poses can be enough; without, the offset of
// the probe is sought too and four are needed, of which one is tipped. Poses
// that cannot tell a mirrored sensor from a turned one, or do not fix the turn,
// are refused with a *PosesError that names the pose to add. Vectors that are
// not finite are refused as well.
func CheckArrow(poses []Pose, o ArrowOptions) (Arrow, error) {
	if o.PoseDeg <= 0 {
		o.PoseDeg = usualPoseDeg
	}
	if o.DipDeg <= 0 {
		o.DipDeg = usualDipDeg
	}
	s := solver{free: !o.Calibrated, poseDeg: o.PoseDeg}
	for _, p := range poses {
		if !magmath.FiniteVec(p.Got) || !magmath.FiniteVec(p.Want) || r3.Norm(p.Got) > readableUT || math.IsNaN(p.NoiseUT) || math.IsInf(p.NoiseUT, 0) {
			return Arrow{}, &PosesError{Why: fmt.Sprintf("the capture named %s holds no finite field", p.Name)}
		}
	}
	if err := o.enough(s, poses); err != nil {
		return Arrow{}, err
	}
	t, ok := s.fitRoom(poses, o)
	if !ok {
		return Arrow{}, o.refuse(s, poses, "the poses do not fix how the sensor lies")
	}
	agree := Plausible(t.chi2, t.dof)
	var bad *BadPose
	if !agree {
		if rest, clean, i := s.leaveOne(poses, o); i >= 0 {
			bad = &BadPose{poses[i].Name, s.looksLike(clean, poses[i], tipped(o.Field, clean.dipDeg))}
			t, poses, agree = clean, rest, true
		} else if len(poses) <= s.fewest() {
			return Arrow{}, o.refuse(s, poses, "the poses contradict one another, and they are too few to say which is wrong")
		}
	}
	if t.other-t.chi2 < handEvidence*max(1, t.chi2/float64(max(t.dof, 1))) {
		return Arrow{}, o.refuse(s, poses, "these poses cannot tell mirrored axes from turned ones")
	}
	return s.answer(t, poses, o, bad, agree), nil
}

func Plausible(chi2 float64, dof int) bool {
	if dof < 1 {
		return true
	}
	return distuv.ChiSquared{K: float64(dof)}.Survival(chi2) >= surelyNot
}

// FewestPoses are as many different poses as CheckArrow needs: one more of a
// probe that is not calibrated, whose own offset is sought too.
func FewestPoses(calibrated bool) int {
	if calibrated {
		return fewestPoses
	}
	return fewestFreePose
}

func (s solver) fewest() int { return FewestPoses(!s.free) }
