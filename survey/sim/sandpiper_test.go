package sim

import (
	"math"
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

func TestRandomCraftKeepWithinTheirRanges(t *testing.T) {
	complicated, slow, named, sources := 0, 0, 0, 0
	const each = 60
	for _, f := range Families() {
		for seed := range uint64(each) {
			trial, err := Random(seed, f, true)
			if err != nil {
				t.Fatalf("%s %d: %v", f, seed, err)
			}
			w := trial.World
			if n := len(w.Craft.Stations()); n < 15 || n > 140 {
				t.Errorf("%s %d: %d stations", f, seed, n)
			}
			if h := w.HUT(); h < 10.5 || h > 31.5 {
				t.Errorf("%s %d: H %v", f, seed, h)
			}
			for _, m := range w.Magnets {
				if n := r3.Norm(m.MomentAm2); n < .02-1e-9 || n > .3+1e-9 {
					t.Errorf("%s %d: moment %v", f, seed, n)
				}
			}
			if trial.Complication != Plain {
				complicated++
			}
			if trial.CurrentPart < 1 {
				slow++
			}
			sources += len(w.Magnets) + len(w.Wires)
			named += len(w.Craft.Parts)
		}
	}
	total := float64(each * len(Families()))
	for name, v := range map[string][3]float64{
		"complicated": {float64(complicated) / total, .25, .028}, "at a tenth": {float64(slow) / total, 1. / 3, .03}, "named": {float64(named) / float64(sources), .6, .02},
	} {
		if math.Abs(v[0]-v[1]) > 4*v[2] { // four standard errors of a proportion
			t.Errorf("%s: %.3f, want %.3f", name, v[0], v[1])
		}
	}
}

func TestRandomIsDeterministic(t *testing.T) {
	a, err := Random(7, Wing, true)
	if err != nil {
		t.Fatal(err)
	}
	b, _ := Random(7, Wing, true)
	if string(a.TOML) != string(b.TOML) || a.World.Magnets[0] != b.World.Magnets[0] {
		t.Error("the same seed gave another craft")
	}
	p := r3.Vec{X: 10, Y: 20, Z: -60}
	s := State{Levels: map[string]float64{"motor 1": 10}}
	if a.World.Field(p, 100, s) != b.World.Field(p, 100, s) {
		t.Error("the same seed gave another field")
	}
	if c, _ := Random(8, Wing, true); string(a.TOML) == string(c.TOML) {
		t.Error("another seed gave the same craft")
	}
}
