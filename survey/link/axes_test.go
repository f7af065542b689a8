package link

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// poses are level captures by a probe whose mapping is m (craft = m sensor),
// in a field of 48 uT. The craft sees (H cos n, -H sin n, Z).
func poses(m magmath.Mat3, dip float64, noses ...float64) []Pose {
	sin, cos := math.Sincos(dip * math.Pi / 180)
	var out []Pose
	for i, n := range noses {
		s, c := math.Sincos(n * math.Pi / 180)
		v := r3.Vec{X: 48 * cos * c, Y: -48 * cos * s, Z: 48 * sin}
		v = r3.Add(v, r3.Scale(0.8, r3.Vec{X: float64(i%2) - 0.5, Y: 0.4, Z: 0.3 * float64(i%3)})) // a hand
		out = append(out, Pose{m.Transpose().Apply(v), n})
	}
	return out
}

var (
	turned  = magmath.Mat3{{0, 1, 0}, {1, 0, 0}, {0, 0, -1}} // right-handed, z up
	swapped = magmath.Mat3{{1, 0, 0}, {0, 0, 1}, {0, 1, 0}}  // y and z exchanged
	upright = magmath.Mat3{{0, 0, -1}, {0, 1, 0}, {1, 0, 0}} // sensor x down
	mirror  = magmath.Mat3{{1, 0, 0}, {0, -1, 0}, {0, 0, 1}} // y negated
	others  = []magmath.Mat3{turned, swapped, upright, mirror, magmath.Identity()}
	downs   = []string{"-z", "+y", "+x", "+z", "+z"}
	compass = []float64{20, 110, 200, 290}
)

func TestWhichAxesFindsEveryMapping(t *testing.T) {
	for i, m := range others {
		for _, dip := range []float64{-64, 25, 66} {
			e, err := WhichAxes(poses(m, dip, compass...), NoseMagnetic, 48, dip)
			if err != nil {
				t.Fatal(err)
			}
			if e.Matrix == nil || *e.Matrix != m || e.Down != downs[i] || e.Mirrored == nil || *e.Mirrored != (m.Det() < 0) {
				t.Errorf("mapping %d, dip %g: %+v", i, dip, e)
			}
		}
	}
}

func TestWhichAxesSaysNoMoreThanItCan(t *testing.T) {
	one, _ := WhichAxes(poses(upright, 66, 20), NoseUnknown, 48, 66)
	if one.Down != "+x" || one.Mirrored != nil || one.Matrix != nil {
		t.Errorf("one pose of unknown direction: %+v", one)
	}
	rel, _ := WhichAxes(poses(mirror, 66, 0, 90, 180), NoseRelative, 48, 66)
	if rel.Down != "+z" || rel.Mirrored == nil || !*rel.Mirrored || rel.Matrix != nil {
		t.Errorf("turns only: %+v", rel)
	}
	north, _ := WhichAxes(poses(mirror, 66, 0), NoseMagnetic, 48, 66)
	if north.Down != "+z" || north.Mirrored != nil || north.Matrix != nil {
		t.Errorf("one pose to the north cannot tell a mirrored y: %+v", north)
	}
	flat, _ := WhichAxes(poses(turned, 45, 0), NoseUnknown, 48, 45)
	if flat.Down != "" {
		t.Errorf("dip 45, nose north: either axis fits, yet %+v", flat)
	}
	far, _ := WhichAxes([]Pose{{B: r3.Vec{X: 50, Y: 50, Z: 50}}, {B: r3.Vec{X: -20, Y: 3, Z: 1}}}, NoseUnknown, 48, 66)
	if far.Down != "" || far.Matrix != nil || len(far.Why) == 0 {
		t.Errorf("a large offset: %+v", far)
	}
}

// A wrong full scale leaves directions alone.
func TestWhichAxesIgnoresScale(t *testing.T) {
	ps := poses(turned, 66, compass...)
	for i := range ps {
		ps[i].B = r3.Scale(1/3.75, ps[i].B)
	}
	if e, _ := WhichAxes(ps, NoseMagnetic, 48, 66); e.Matrix == nil || *e.Matrix != turned {
		t.Errorf("%+v", e)
	}
}

func TestWhichAxesRefuses(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		poses  []Pose
		f, dip float64
	}{{nil, 48, 66}, {poses(turned, 66, 0), 0, 66}, {poses(turned, 66, 0), 48, nan}, {[]Pose{{}}, 48, 66}, {[]Pose{{B: r3.Vec{X: nan}}}, 48, 66}} {
		if e, err := WhichAxes(c.poses, NoseUnknown, c.f, c.dip); err == nil {
			t.Errorf("%v: %+v", c, e)
		}
	}
}
