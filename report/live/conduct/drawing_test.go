package conduct

import (
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// Each pose is drawn as it is held: the nose of the drawing lies on the side of
// the middle that the projection puts it, north to the upper right, east to the
// right, down below.
func TestPosesAreDrawnAsTheyAreHeld(t *testing.T) {
	for name, want := range map[string][2]int{ // sign of right and of down of the nose; 0: either
		"north": {1, -1}, "000": {1, -1}, "east": {1, 0}, "090": {1, 0}, "south": {-1, 1}, "180": {-1, 1}, "west": {-1, 0},
		"up": {0, -1}, "down": {0, 1}, "left": {1, -1}, "right": {1, -1}, "inverted": {1, -1},
	} {
		turn, ok := poseOf(name)
		d := drawPose(name)
		if !ok || d == nil || len(d.Faces) < 2 {
			t.Errorf("%s is not drawn", name)
			continue
		}
		nose := project(turn(vecOf(1, 0, 0)))
		if want[0]*sign(nose[0]) < 0 || want[1]*sign(nose[1]) < 0 || want[0] != 0 && nose[0] == 0 {
			t.Errorf("%s: the nose is drawn at %v", name, nose)
		}
		top := strings.Contains(facesOf(d), "top")
		if up := turn(vecOf(0, 0, -1)); (up.Z < -0.5) != top && name != "up" && name != "down" && name != "left" && name != "right" {
			t.Errorf("%s: upper side shown %v, which points %v", name, top, up)
		}
	}
	if drawPose("upwards") != nil {
		t.Error("what is no pose is drawn")
	}
}

func vecOf(x, y, z float64) r3.Vec { return r3.Vec{X: x, Y: y, Z: z} }

func sign(v float64) int {
	switch {
	case v > 1e-9:
		return 1
	case v < -1e-9:
		return -1
	}
	return 0
}

func facesOf(d *drawing) string {
	var kinds []string
	for _, f := range d.Faces {
		kinds = append(kinds, f.Kind)
	}
	return strings.Join(kinds, " ")
}
