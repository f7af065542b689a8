package rank

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/plane"
	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/evaluate"
)

func relaxationOf(t *testing.T, r *Ranking, name siting.ConstraintName) Relaxation {
	t.Helper()
	for _, x := range r.Relaxations {
		if x.Constraint == name {
			return x
		}
	}
	t.Fatalf("no relaxation of %v: %+v", name, r.Relaxations)
	return Relaxation{}
}

// ranked ranks a changed craft on a coarse grid and returns the state too.
func ranked(t *testing.T, f *evaluate.Findings) *ranker {
	t.Helper()
	r := newRanker(t.Context(), f, Options{StepMM: 24, Next: -1}.withDefaults())
	r.screen()
	r.choose()
	return r
}

// The least relaxation is the first place, in the order of how much must give way,
// that gains enough, all places scored without shortcuts.
func TestLeastRelaxationByBruteForce(t *testing.T) {
	f := measured(t)
	for _, c := range []struct {
		name   string
		change func(*survey.Craft)
		which  siting.ConstraintName
		gives  func(c *survey.Craft, p siting.Place) float64
	}{
		{"cable", func(c *survey.Craft) { c.Module.CableMM = 230 }, siting.ConstraintName{Kind: KindCable}, func(c *survey.Craft, p siting.Place) float64 {
			length, here := c.Cable.SlackMM, c.Cable.FromMM
			for _, next := range append(append([]r2.Vec{}, c.Cable.ViaMM...), p.At) {
				length += math.Hypot(next.X-here.X, next.Y-here.Y)
				here = next
			}
			return length + p.HeightMM - c.Module.CableMM
		}},
		{"keep-out of the bow", func(c *survey.Craft) {
			c.Cable, c.Balance = nil, nil
			c.Keepouts = append(c.Keepouts, survey.Keepout{Name: "bow", OutlineMM: plane.Polygon{{X: 400, Y: -300}, {X: 400, Y: 300}, {X: -100, Y: 300}, {X: -100, Y: -300}}})
		}, siting.ConstraintName{Kind: "keepout", Name: "bow"}, func(c *survey.Craft, p siting.Place) float64 {
			foot := c.Module.Footprint(p.At) // the keep-out's nearest side is the one astern, or the bow's
			return min(foot.Max.X-(-100), 400-foot.Min.X, 600)
		}},
		{"clearance", func(c *survey.Craft) {
			c.Cable, c.Balance = nil, nil
			c.Parts = append(c.Parts, survey.Part{Name: "mast foot", AtMM: &r3.Vec{X: 350}, ClearanceMM: 400})
		}, siting.ConstraintName{Kind: "clearance", Name: "mast foot"}, func(c *survey.Craft, p siting.Place) float64 {
			foot := c.Module.Footprint(p.At)
			return 400 - math.Hypot(max(0, foot.Min.X-350, 350-foot.Max.X), max(0, foot.Min.Y, -foot.Max.Y))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := ranked(t, changed(f, c.change))
			x := relaxationOf(t, r.out, c.which)
			now := r.standing()
			least, opens := math.Inf(1), 0
			for i, k := range r.cands {
				if len(k.Broken) != 1 || r.limits[k.Broken[0]].Name != c.which || !r.verdicts[i].steadyOK {
					continue
				}
				s := r.s.of([]siting.Place{k.Place})[0]
				good := now == nil || s.Expected <= now.Expected-worth(now.Expected) && s.Shifting.Estimate <= now.Shifting.Estimate-worth(now.Expected)
				if !r.out.Qualified {
					good = r.qualifies(open{place: k.Place, score: &s})
				}
				if good {
					least, opens = min(least, c.gives(r.f.Craft, k.Place)), opens+1
				}
			}
			if opens == 0 {
				t.Fatal("nothing is gained: the test says nothing")
			}
			t.Logf("%d places gain; least %.1f mm, best %.0f mm; now %v", opens, least, x.Best.ByMM, now != nil)
			if !x.Gains || math.Abs(x.Least.ByMM-math.Ceil(least)) > 1 || x.Least.ByMM < least {
				t.Errorf("%+v, want %.2f mm", x.Least, least)
			}
			if x.Best.Expected > x.Least.Expected {
				t.Errorf("the best place without it, %+v, is worse than %+v", x.Best, x.Least)
			}
		})
	}
}

// Relaxed by what is said, the constraint lets the place be mounted.
func TestRelaxedByThatMuchThePlaceIsOpen(t *testing.T) {
	f := changed(measured(t), func(c *survey.Craft) { c.Module.CableMM = 230 })
	x := relaxationOf(t, ranked(t, f).out, siting.ConstraintName{Kind: KindCable})
	at := siting.Place{At: flatten(x.Least.At), HeightMM: x.Least.HeightMM}
	for _, c := range []struct {
		more float64
		want bool
	}{{0, false}, {x.Least.ByMM - 1.01, false}, {x.Least.ByMM, true}} {
		longer := newRanker(t.Context(), changed(f, func(k *survey.Craft) { k.Module.CableMM += c.more }), Options{}.withDefaults())
		longer.limits = longer.constraints()
		if got := longer.allows(at); got != c.want {
			t.Errorf("%.0f mm longer: allowed %v", c.more, got)
		}
	}
}

// The battery moved by what is said brings the centre of gravity back into its
// range: moments by hand.
func TestBatteryMoveOpensThePlace(t *testing.T) {
	f := changed(measured(t), func(c *survey.Craft) {
		c.Cable, c.Keepouts = nil, nil
		c.Module.MassG = 120
		for i := range c.Parts {
			c.Parts[i].ClearanceMM = 0
		}
		c.Balance = &survey.Balance{CGXMM: [2]float64{-60, -4}, CGYMM: [2]float64{-60, 60}}
	})
	r := ranked(t, f)
	x := relaxationOf(t, r.out, siting.ConstraintName{Kind: KindBalance})
	if !x.Gains || x.Part != "battery" || x.Least.MoveMM == 0 {
		t.Fatalf("%+v %+v", x, x.Least)
	}
	for _, c := range []struct {
		move float64
		in   bool
	}{{0, false}, {x.Least.MoveMM, true}} {
		mass, moment := f.Craft.Module.MassG, f.Craft.Module.MassG*x.Least.At.X
		for _, p := range f.Craft.Parts {
			if p.MassG > 0 && p.AtMM != nil {
				at := p.AtMM.X
				if p.Name == x.Part {
					at += c.move
				}
				mass, moment = mass+p.MassG, moment+p.MassG*at
			}
		}
		if g := moment / mass; (g >= -60 && g <= -4) != c.in {
			t.Errorf("moved %g mm: centre at %.2f", c.move, g)
		}
	}
}

// The budget raised by what is said, and by no less, lets a spot qualify.
func TestBudgetRaisedByThatMuch(t *testing.T) {
	f := changed(measured(t), func(c *survey.Craft) { c.Limits.HeadingErrorDeg = 0.2 })
	by := relaxationOf(t, ranked(t, f).out, siting.ConstraintName{Kind: kindBudget}).ByDeg
	if !(by > 0) {
		t.Fatalf("%g degrees", by)
	}
	for _, c := range []struct {
		more float64
		want bool
	}{{by - 0.15, false}, {by, true}} {
		raised := ranked(t, changed(f, func(k *survey.Craft) { k.Limits.HeadingErrorDeg += c.more }))
		if raised.out.Qualified != c.want {
			t.Errorf("%.2f degrees more: qualified %v", c.more, raised.out.Qualified)
		}
		if got := relaxationOf(t, raised.out, siting.ConstraintName{Kind: kindBudget}).ByDeg; (got == 0) != c.want {
			t.Errorf("%.2f degrees more: still %g to go", c.more, got)
		}
	}
}

// What gains nothing is said once, and keeps its place in the list.
func TestNothingGained(t *testing.T) {
	f := changed(measured(t), func(c *survey.Craft) {
		c.Cable, c.Balance, c.Keepouts = nil, nil, nil
		c.Module.CableMM = 0
	})
	r := ranked(t, f)
	for _, x := range r.out.Relaxations {
		if x.Gains && x.Constraint.Kind != kindHeight || x.Least == nil {
			t.Errorf("%+v", x)
		}
	}
	costs := r.out.Costs()
	if len(costs) != 1 || costs[0].Code != "rank.nothing_gained" && costs[0].Code != "rank.relax_height" {
		t.Errorf("%v", costs)
	}
}
