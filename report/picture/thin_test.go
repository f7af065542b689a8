package picture

import (
	"math"
	"testing"

	"gonum.org/v1/plot/vg"
)

// A circle of many points becomes one of few, none of the left-out ones farther
// from it than may go unseen; corners and ends stay.
func TestThinned(t *testing.T) {
	var circle []vg.Point
	for i := range 2001 {
		sin, cos := math.Sincos(2 * math.Pi * float64(i) / 2000)
		circle = append(circle, vg.Point{X: vg.Length(50 * cos), Y: vg.Length(50 * sin)})
	}
	few := thinned(circle)
	// A chord of a circle of radius r has a sagitta s = r (1 - cos(a/2)): with
	// 0.04 of 50 an angle of 4.6 degrees, some 79 chords; halving angles, up to
	// twice as many.
	if n := len(few); n < 79 || n > 160 {
		t.Errorf("%d points are left of %d", n, len(circle))
	}
	if few[0] != circle[0] || few[len(few)-1] != circle[2000] {
		t.Error("an end was lost")
	}
	for _, p := range circle {
		near := math.Inf(1)
		for i := 1; i < len(few); i++ {
			near = min(near, besides(p, few[i-1], few[i]))
		}
		if near > unseen+1e-9 {
			t.Fatalf("%v lies %.3f points off", p, near)
		}
	}
	corner := []vg.Point{{}, {X: 1}, {X: 2}, {X: 2, Y: 5}}
	if got := thinned(corner); len(got) != 3 || got[1] != corner[2] {
		t.Errorf("a corner became %v", got)
	}
	for _, same := range [][]vg.Point{nil, {{X: 1}}, {{X: 1}, {X: 1}}} {
		if len(thinned(same)) != len(same) {
			t.Errorf("%v became %v", same, thinned(same))
		}
	}
}
