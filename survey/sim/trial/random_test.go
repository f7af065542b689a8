package trial

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/sim"
)

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
	s := sim.State{Levels: map[string]float64{"motor 1": 10}}
	if a.World.Field(p, 100, s) != b.World.Field(p, 100, s) {
		t.Error("the same seed gave another field")
	}
	if c, _ := Random(8, Wing, true); string(a.TOML) == string(c.TOML) {
		t.Error("another seed gave the same craft")
	}
}
