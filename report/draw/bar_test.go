package draw

import "testing"

// The bar's ticks grow upwards, and its image is dark, that is loud, on top:
// what checkAsymmetry then looks for in each format.
func TestBarGrowsUpwards(t *testing.T) {
	r := NewRamp([]float64{1, 2, 40}, 5)
	if a, b := r.share(2), r.share(20); a >= b {
		t.Errorf("2 stands at %v, 20 at %v", a, b)
	}
	img := barImage(r)
	top, _, _, _ := img.At(0, 0).RGBA()
	bottom, _, _, _ := img.At(0, img.Bounds().Max.Y-1).RGBA()
	if top >= bottom {
		t.Errorf("red is %d on top and %d at the bottom", top, bottom)
	}
}
