package balance

import (
	"errors"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/survey"
)

// tray is an invented craft of 400 x 200 mm with a battery of a quarter of its
// mass.
func tray() *survey.Craft {
	return &survey.Craft{
		Module: survey.Module{Name: "puck", MassG: 40},
		Body:   survey.Body{OutlineMM: plane.Polygon{{X: 200, Y: -100}, {X: 200, Y: 100}, {X: -200, Y: 100}, {X: -200, Y: -100}}},
		Parts: []survey.Part{
			{Name: "hull", MassG: 1160, AtMM: &r3.Vec{X: -10}},
			{Name: "battery", MassG: 400, AtMM: &r3.Vec{X: 30}, SlideMM: &[2]float64{0, 80}},
		},
		Balance: &survey.Balance{CGXMM: [2]float64{-5, 5}, CGYMM: [2]float64{-3, 3}},
	}
}

func TestBalanceOf(t *testing.T) {
	b, err := Of(tray(), &r3.Vec{X: -160, Y: 20, Z: -30})
	if err != nil {
		t.Fatal(err)
	}
	// By hand: (1160 x -10 + 400 x 30 + 40 x -160) / 1600 = -3.75; 40 x 20 /
	// 1600 = 0.5.
	if math.Abs(b.Centre.AtMM.X+3.75) > 1e-9 || math.Abs(b.Centre.AtMM.Y-0.5) > 1e-9 || b.Centre.MassG != 1600 {
		t.Errorf("centre %v of %v g", b.Centre.AtMM, b.Centre.MassG)
	}
	if !b.OK || !b.Limited || b.Remedy.MoveMM != 0 || b.Battery != "battery" {
		t.Errorf("%+v", b)
	}
	c := tray()
	c.Parts[0].AtMM.X = -20
	b, err = Of(c, &r3.Vec{X: -160})
	if err != nil {
		t.Fatal(err)
	}
	// -11 mm, 6 mm out: the battery goes 6 x 1600 / 400 = 24 mm forward.
	if b.OK || math.Abs(b.Remedy.MoveMM-24) > 1e-9 || !b.Remedy.Restored {
		t.Errorf("%+v", b.Remedy)
	}
	c.Parts[1].AtMM = &r3.Vec{X: 30 + 24}
	if b, err = Of(c, &r3.Vec{X: -160}); err != nil || math.Abs(b.Centre.AtMM.X+5) > 1e-9 {
		t.Errorf("after the move: %v, %v", b.Centre.AtMM, err)
	}
}

func TestBalanceWithout(t *testing.T) {
	c := tray()
	c.Parts = nil
	if _, err := Of(c, &r3.Vec{}); !errors.Is(err, ErrNoMasses) {
		t.Errorf("no parts: %v", err)
	}
	c = tray()
	c.Balance = nil
	b, err := Of(c, nil)
	if err != nil || !b.OK || b.Limited || len(b.Notes) != 1 {
		t.Errorf("no range: %+v, %v", b, err)
	}
	c = tray()
	c.Parts = append(c.Parts, survey.Part{Name: "lead", MassG: 100, PathMM: []r3.Vec{{X: 0}, {X: 100}, {X: 100, Y: 100}}})
	b, err = Of(c, nil)
	if err != nil {
		t.Fatal(err)
	}
	// The lead weighs at (75, 25).
	if math.Abs(b.Centre.MomentGMM.X-(1160*-10+400*30+100*75)) > 1e-6 || math.Abs(b.Centre.MomentGMM.Y-2500) > 1e-6 {
		t.Errorf("moment %v", b.Centre.MomentGMM)
	}
}
