package link

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// NoseKnown is the knowledge of the nose's directions in the poses.
type NoseKnown int

// The degrees of knowledge of the nose's direction.
const (
	NoseUnknown  NoseKnown = iota // nothing
	NoseRelative                  // the turns between the poses: NoseDeg counts clockwise from any zero
	NoseMagnetic                  // NoseDeg is the magnetic direction
)

// Pose is the mean vector of the probe in sensor axes, the craft level and the
// arrow to the nose.
type Pose struct {
	B       r3.Vec
	NoseDeg float64
}

// AxesEvidence is the axis mapping that dip and handedness of the field
// support.
type AxesEvidence struct {
	Down     string          // sensor axis that points down, "+z"; empty: cannot be told
	Mirrored *bool           // the axes are left-handed; nil: cannot be told
	Axes     []string        // craft directions of the sensor's x, y, z, "+x"; nil: cannot be told
	Matrix   *magmath.Mat3   // craft vector = Matrix * sensor vector; nil with Axes
	MisfitUT float64         // of the best mapping
	Why      []remark.Remark // the evidence, and what is missing
}

// errNoField reports a reference without a field.
var errNoField = errors.New("the axes cannot be told without a reference field and a pose")

// WhichAxes compares poses with the reference field (strength in microtesla,
// dip in degrees, positive down): level, a craft sees (H cos n, -H sin n, Z)
// with the nose at n. All 48 right-angle mappings, mirrored ones too, are
// tried; a property of the mapping is reported only if every mapping without it
// fits clearly worse. One pose can determine the axis that points down; turns
// between poses determine handedness; magnetic directions of the nose determine
// the whole mapping. The vectors are first scaled to the reference, so that a
// wrong scale has no effect. A large offset has, and raises the misfit. Source:
// the field's components in body axes, from the definition of dip and magnetic
// heading (any textbook of navigation; no single source).
func WhichAxes(poses []Pose, nose NoseKnown, referenceUT, dipDeg float64) (AxesEvidence, error) {
	scale, err := poseScale(poses, referenceUT, dipDeg)
	if err != nil {
		return AxesEvidence{}, err
	}
	scaled := make([]Pose, len(poses))
	for i, p := range poses {
		scaled[i] = Pose{r3.Scale(scale, p.B), p.NoseDeg}
	}
	sin, cos := math.Sincos(dipDeg * math.Pi / 180)
	fits := make([]axesFit, 0, 48)
	for _, m := range mappings() {
		fits = append(fits, axesFit{m, misfit(m, scaled, nose, referenceUT*cos, referenceUT*sin)})
	}
	slices.SortStableFunc(fits, func(a, b axesFit) int { return cmp.Compare(a.misfit, b.misfit) })
	return weigh(fits, nose, referenceUT), nil
}

// poseScale returns the factor from the median magnitude to the reference.
func poseScale(poses []Pose, referenceUT, dipDeg float64) (float64, error) {
	mags := make([]float64, len(poses))
	for i, p := range poses {
		if !magmath.FiniteVec(p.B) || !finite(p.NoseDeg) {
			return 0, fmt.Errorf("pose %d is not a number", i+1)
		}
		mags[i] = r3.Norm(p.B)
	}
	if len(poses) == 0 || !(referenceUT > 0) || !finite(referenceUT) || !finite(dipDeg) {
		return 0, errNoField
	}
	m := magmath.Median(mags)
	if m == 0 {
		return 0, errors.New("the poses are zero vectors: no magnetometer answers")
	}
	return referenceUT / m, nil
}

type axesFit struct {
	m      magmath.Mat3
	misfit float64
}

// mappings returns the 48 signed permutations.
func mappings() []magmath.Mat3 {
	var out []magmath.Mat3
	for _, p := range [][3]int{{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}} {
		for signs := range 8 {
			var m magmath.Mat3
			for row, col := range p {
				m[row][col] = 1 - 2*float64(signs>>row&1)
			}
			out = append(out, m)
		}
	}
	return out
}

// misfit returns the root mean square distance of the mapped poses from the
// reference field, at the best heading if that is free.
func misfit(m magmath.Mat3, poses []Pose, nose NoseKnown, h, z float64) float64 {
	zero := 0.0
	if nose == NoseRelative {
		zero = commonTurn(m, poses)
	}
	sum := 0.0
	for _, p := range poses {
		v := m.Apply(p.B)
		if nose == NoseUnknown {
			dh := math.Hypot(v.X, v.Y) - h
			sum += dh*dh + (v.Z-z)*(v.Z-z)
			continue
		}
		s, c := math.Sincos((p.NoseDeg + zero) * math.Pi / 180)
		sum += r3.Norm2(r3.Sub(v, r3.Vec{X: h * c, Y: -h * s, Z: z}))
	}
	return math.Sqrt(sum / float64(len(poses)))
}

// commonTurn returns the best-fitting direction of the nose before the turns.
func commonTurn(m magmath.Mat3, poses []Pose) float64 {
	var sin, cos float64
	for _, p := range poses {
		v := m.Apply(p.B)
		s, c := math.Sincos(math.Atan2(-v.Y, v.X) - p.NoseDeg*math.Pi/180)
		w := math.Hypot(v.X, v.Y)
		sin, cos = sin+w*s, cos+w*c
	}
	return math.Atan2(sin, cos) * 180 / math.Pi
}

// weigh sets the properties that the sorted fits determine.
func weigh(fits []axesFit, nose NoseKnown, f float64) AxesEvidence {
	best := fits[0]
	e := AxesEvidence{MisfitUT: best.misfit}
	if best.misfit > 0.2*f {
		e.Why = []remark.Remark{remark.New("link.axes-none", remark.Values{"misfit_ut": best.misfit})}
		return e
	}
	clear := func(same func(magmath.Mat3) bool) bool {
		for _, o := range fits[1:] {
			if !same(o.m) && o.misfit < 2*best.misfit+0.1*f {
				return false
			}
		}
		return true
	}
	e.down(best, clear)
	e.handed(best, clear, nose)
	e.all(best, clear, nose)
	return e
}

func (e *AxesEvidence) down(best axesFit, clear func(func(magmath.Mat3) bool) bool) {
	if !clear(func(o magmath.Mat3) bool { return o[2] == best.m[2] }) {
		e.Why = append(e.Why, remark.New("link.axes-down-open"))
		return
	}
	for k, s := range best.m[2] {
		if s != 0 {
			e.Down = signed(s, k)
		}
	}
	e.Why = append(e.Why, remark.New("link.axes-down", remark.Values{"axis": e.Down}))
}

func (e *AxesEvidence) handed(best axesFit, clear func(func(magmath.Mat3) bool) bool, nose NoseKnown) {
	if nose == NoseUnknown || !clear(func(o magmath.Mat3) bool { return o.Det() == best.m.Det() }) {
		e.Why = append(e.Why, remark.New("link.axes-hand-open"))
		return
	}
	mirrored := best.m.Det() < 0
	e.Mirrored = &mirrored
	if mirrored {
		e.Why = append(e.Why, remark.New("link.axes-left-handed"))
	} else {
		e.Why = append(e.Why, remark.New("link.axes-right-handed"))
	}
}

func (e *AxesEvidence) all(best axesFit, clear func(func(magmath.Mat3) bool) bool, nose NoseKnown) {
	if nose != NoseMagnetic || !clear(func(o magmath.Mat3) bool { return o == best.m }) {
		return
	}
	m := best.m
	e.Matrix = &m
	for col := range 3 {
		for row := range 3 {
			if m[row][col] != 0 {
				e.Axes = append(e.Axes, signed(m[row][col], row))
			}
		}
	}
}

func signed(s float64, k int) string {
	sign := "+"
	if s < 0 {
		sign = "-"
	}
	return sign + string(rune('x'+k))
}
