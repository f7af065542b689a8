package draw

import "testing"

// The bar's values grow upwards, and its colours darken upwards; package picture
// looks for the same in each format.
func TestBarGrowsUpwards(t *testing.T) {
	r := NewRamp([]float64{1, 2, 40}, 5)
	if a, b := r.share(2), r.share(20); a >= b {
		t.Errorf("2 stands at %v, 20 at %v", a, b)
	}
	bar := r.Bar(5)
	top, _, _, _ := bar.Color(1).RGBA()
	bottom, _, _, _ := bar.Color(0).RGBA()
	if top >= bottom {
		t.Errorf("red is %d on top and %d at the bottom", top, bottom)
	}
}
