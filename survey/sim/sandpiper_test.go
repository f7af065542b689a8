package sim

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// The invented catamaran is worth a survey: there are quiet places, and loud ones.
func TestSandpiperHasQuietAndLoudPlaces(t *testing.T) {
	for seed := range uint64(5) {
		w, err := Sandpiper(seed)
		if err != nil {
			t.Fatal(err)
		}
		quiet, loud, steady := 180., 0., 0.
		stations := w.Craft.Stations()
		for _, s := range stations {
			steady = max(steady, r3.Norm(w.Steady(w.Craft.Module.SensorAt(s.At, 0))))
		}
		for x := -350.; x <= 350; x += 10 {
			for y := -180.; y <= 180; y += 10 {
				e := w.ShiftingErrorDeg(w.Craft.Module.SensorAt(r3.Vec{X: x, Y: y, Z: -20}, 0))
				quiet, loud = min(quiet, e), max(loud, e)
			}
		}
		t.Logf("seed %d: %d stations, shifting %.2f to %.1f degrees, steady up to %.0f uT, H %.2f uT", seed, len(stations), quiet, loud, steady, w.HUT())
		if quiet > 1 || loud < 25 || steady > 800 {
			t.Errorf("seed %d: shifting %.2f to %.1f degrees, steady up to %.0f uT", seed, quiet, loud, steady)
		}
	}
}

// Mid 2026 at 53.30 N 9.10 W; the model's own published checks are elsewhere.
func TestSandpiperLiesInTheReferenceField(t *testing.T) {
	w, err := Sandpiper(1)
	if err != nil {
		t.Fatal(err)
	}
	if h, f := w.HUT(), r3.Norm(w.Room.Reference); h < 17 || h > 20 || f < 47 || f > 51 {
		t.Errorf("H %v, F %v", h, f)
	}
}
