package balance

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

func at(x float64) r3.Vec { return r3.Vec{X: x} }

func near(t *testing.T, what string, got, want, within float64) {
	t.Helper()
	if !(math.Abs(got-want) <= within) {
		t.Errorf("%s: got %v, want %v", what, got, want)
	}
}

// Worked examples in pounds and inches.
// Sources: FAA AC 43.13-1B, figure 10-10, most forward CG, printed 11.2; the
// calculator example of the FAA-H-8083-1 family, nosewheel 340 lb, 78 in ahead
// of the main wheels, 2006 lb in all, -13.2; FAA-H-8083-1B chapter 2, 110 in,
// from memory.
func TestHandbookExamples(t *testing.T) {
	for _, c := range []struct {
		name           string
		masses         []Mass
		total, moment  float64
		cg, cgRounding float64
	}{
		{"AC 43.13-1B fig. 10-10", []Mass{{"empty", 1169, at(10.6)}, {"oil", 17, at(-49)}, {"pilot", 170, at(16)}, {"fuel", 83, at(22)}}, 1439, 16104, 11.2, 0.05},
		{"nosewheel", []Mass{{"nose", 340, at(-78)}, {"main", 1666, at(0)}}, 2006, -26520, -13.2, 0.05},
		{"8083-1B chapter 2", []Mass{{"A", 100, at(50)}, {"B", 100, at(90)}, {"C", 200, at(150)}}, 400, 44000, 110, 1e-9},
	} {
		got, err := Of(c.masses...)
		if err != nil {
			t.Fatal(err)
		}
		near(t, c.name+", total", got.MassG, c.total, 1e-9)
		near(t, c.name+", moment", got.MomentGMM.X, c.moment, 0.5)
		near(t, c.name+", cg", got.AtMM.X, c.cg, c.cgRounding)
	}
}

// shift is how far the centre of gravity moves when a part does: what Move
// undoes.
func shift(totalG, movedG, byMM float64) float64 { return byMM / move(totalG, movedG, 1) }

// Source: FAA Pilot's Handbook of Aeronautical Knowledge, weight shift: 8000
// lb with CG 77.0, 100 lb moved from station 30 to 150 changes it by 1.5 to
// 78.5. The second case, 4700 lb, CG 97, 80 lb from 142 to 44, is often got
// wrong by adding the load (94.77): moving it does not change the total, and
// the answer is 95.33.
func TestWeightShift(t *testing.T) {
	near(t, "shift", shift(8000, 100, 120), 1.5, 1e-12)
	near(t, "new cg", 77+shift(8000, 100, 120), 78.5, 1e-12)
	near(t, "not an addition", 97+shift(4700, 80, 44-142), 95.33, 0.005)
	near(t, "and back", move(4700, 80, 95.33-97), 44-142, 0.2)
	cargo := Mass{G: 80, AtMM: at(142)}
	whole, err := Of(cargo, Mass{G: 4620, AtMM: at((4700*97 - 80*142) / 4620.0)})
	if err != nil {
		t.Fatal(err)
	}
	moved := cargo
	moved.AtMM = at(44)
	c := whole.without(cargo).With(moved)
	near(t, "taken out and put back", c.AtMM.X, 95.33, 0.005)
	near(t, "total", c.MassG, 4700, 1e-9)
}

// Common practice, no source: a battery of about a quarter of the craft's mass
// moved by 10 mm moves the balance by 2 to 3 mm.
func TestBatteryRule(t *testing.T) {
	for _, part := range []float64{0.22, 0.25, 0.28} {
		if d := shift(1600, part*1600, 10); d < 2 || d > 3 {
			t.Errorf("a battery of %.0f %%: %.2f mm", 100*part, d)
		}
	}
}

// square is a craft of 400 x 200 mm about the datum.
func square(from, toward r2.Vec) float64 {
	best := math.Inf(1)
	for _, v := range []float64{(math.Copysign(200, toward.X) - from.X) / toward.X, (math.Copysign(100, toward.Y) - from.Y) / toward.Y} {
		if v > 0 {
			best = min(best, v)
		}
	}
	return best
}

func TestRestore(t *testing.T) {
	limits := Limits{X: Range{-12, 4}, Y: Range{-4, 4}}
	battery := Mass{Name: "battery", G: 400, AtMM: r3.Vec{X: 60}}
	craft := func(x, y float64) Centre {
		c, err := Of(battery, Mass{G: 1200, AtMM: r3.Vec{X: x, Y: y}})
		if err != nil {
			t.Fatal(err)
		}
		return c
	}
	slide := &Slider{battery, Range{20, 110}}
	for _, c := range []struct {
		name     string
		c        Centre
		move     float64
		restored bool
		ballast  bool
	}{
		{"inside", craft(-20, 0), 0, true, false},
		{"nose heavy", craft(-8, 0), -20, true, false},      // 9 mm, 4 allowed: 5 x 1600 / 400
		{"tail heavy", craft(-40, 0), 12, true, false},      // -15, -12 allowed
		{"too far", craft(-70, 0), 50, false, true},         // -37.5: 102 mm wanted, 50 there
		{"aside", craft(-20, 30), 0, false, true},           // y 22.5
		{"far and aside", craft(60, -30), -40, false, true}, // x 60
	} {
		r := Restore(c.c, limits, slide, square)
		near(t, c.name+", move", r.MoveMM, c.move, 1e-9)
		if r.Restored != c.restored || math.IsNaN(r.BallastG) == c.ballast {
			t.Errorf("%s: restored %v, ballast %v", c.name, r.Restored, r.BallastG)
		}
		if c.ballast {
			done := Restore(c.c, limits, slide, square)
			moved := battery
			moved.AtMM.X += r.MoveMM
			after := c.c.without(battery).With(moved).With(Mass{G: done.BallastG, AtMM: r3.Vec{X: r.BallastAtMM.X, Y: r.BallastAtMM.Y}})
			if math.Abs(limits.X.Off(after.AtMM.X)) > 1e-9 || math.Abs(limits.Y.Off(after.AtMM.Y)) > 1e-9 {
				t.Errorf("%s: with %.0f g of ballast the centre is at %v", c.name, done.BallastG, after.AtMM)
			}
			if math.Abs(r.BallastAtMM.X) > 200+1e-9 || math.Abs(r.BallastAtMM.Y) > 100+1e-9 {
				t.Errorf("%s: ballast off the craft at %v", c.name, r.BallastAtMM)
			}
		}
	}
	if r := Restore(craft(-8, 0), limits, nil, nil); r.Restored || !r.Needed || !math.IsNaN(r.BallastG) {
		t.Errorf("nothing to move, no outline: %+v", r)
	}
}

func TestBadMasses(t *testing.T) {
	if _, err := Of(); !errors.Is(err, ErrNoMass) {
		t.Errorf("none: %v", err)
	}
	if _, err := Of(Mass{Name: "air"}); !errors.Is(err, ErrNoMass) {
		t.Errorf("weighs nothing: %v", err)
	}
	for _, m := range []Mass{{Name: "a", G: -1}, {Name: "b", G: math.NaN()}, {Name: "c", G: math.Inf(1)}, {Name: "d", G: 1, AtMM: at(math.NaN())}} {
		if _, err := Of(m); err == nil {
			t.Errorf("%s passes", m.Name)
		}
	}
}

func ExampleOf() {
	c, err := Of(Mass{"hull", 900, r3.Vec{X: -30}}, Mass{"battery", 300, r3.Vec{X: 70}})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f g, centre at x %.1f mm\n", c.MassG, c.AtMM.X)
	// Output: 1200 g, centre at x -5.0 mm
}
