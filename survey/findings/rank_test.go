package findings

import (
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/sim"
)

// measured are findings of the catamaran.
func measured(t *testing.T) *Findings {
	t.Helper()
	w := sandpiper(t, 11)
	return evaluate(t, w.Craft, walks(w, sim.DefaultProbe(), sim.DefaultHand(), 11, true))
}

// changed are the same findings for a craft file that was changed since.
func changed(f *Findings, change func(*survey.Craft)) *Findings {
	out, c := *f, *f.Craft
	c.Parts = slices.Clone(c.Parts)
	change(&c)
	out.Craft = &c
	return &out
}

func rank(t *testing.T, f *Findings) *Ranking {
	t.Helper()
	r, err := f.Rank(RankOptions{StepMM: 16})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestHigherIsQuieter(t *testing.T) {
	f := changed(measured(t), func(c *survey.Craft) { c.Heights = []float64{80}; c.Cable = nil })
	s := newScorer(f)
	over := r2.Vec{X: -100, Y: -60} // above the left lead
	low, high := s.of(placesAt(over, 0))[0], s.of(placesAt(over, 80))[0]
	if !(high.shifting.Upper95 < low.shifting.Upper95) {
		t.Errorf("bound %.2f degrees on the surface, %.2f at 80 mm above it", low.shifting.Upper95, high.shifting.Upper95)
	}
	for _, spot := range rank(t, f).Spots {
		if spot.HeightMM != 80 || spot.At.Z != f.Craft.Body.SurfaceZMM {
			t.Errorf("height %g, z %g: z is the surface's, %g", spot.HeightMM, spot.At.Z, f.Craft.Body.SurfaceZMM)
		}
	}
}

func TestWhyNothingQualifies(t *testing.T) {
	f := measured(t)
	for _, c := range []struct {
		name   string
		change func(*survey.Craft)
		want   string
		spots  bool
	}{
		{"budget", func(c *survey.Craft) { c.Limits.HeadingErrorDeg = 0.01 }, "keeps the shifting error under 0.01 degrees", true},
		{"cable", func(c *survey.Craft) { c.Module.CableMM = 30 }, "a lead", false},
		{"steady", func(c *survey.Craft) { c.Limits.SteadyUT = 0.01 }, "breaks the steady limit of 0.01 uT", true},
		{"keepout", func(c *survey.Craft) {
			c.Keepouts = []survey.Keepout{{Name: "lid", OutlineMM: c.Body.OutlineMM}}
			c.Cable, c.Balance = nil, nil
			for i := range c.Parts {
				c.Parts[i].ClearanceMM = 0
			}
		}, `without "keepout lid"`, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rank(t, changed(f, c.change))
			if r.Qualified || !strings.Contains(r.Why, c.want) {
				t.Errorf("qualified %v, why %q, want %q", r.Qualified, r.Why, c.want)
			}
			if (len(r.Spots) > 0) != c.spots {
				t.Errorf("%d spots", len(r.Spots))
			}
			for _, s := range r.Spots {
				if s.WithinBudget && s.WithinSteady {
					t.Errorf("spot %d qualifies", s.Rank)
				}
			}
		})
	}
}

// The tolerance is a promise: everywhere in the disc the bound stays in the
// budget.
func TestToleranceKeepsItsPromise(t *testing.T) {
	f := measured(t)
	r := rank(t, f)
	s := newScorer(f)
	checked := 0
	for _, spot := range r.Spots {
		for _, d := range []r2.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {X: 0.6, Y: 0.8}, {X: -0.8, Y: 0.6}} {
			for _, part := range []float64{0.3, 0.7, 0.99} {
				p := r2.Add(flatten(spot.At), r2.Scale(part*spot.PlacementToleranceMM, d))
				o := s.of(placesAt(p, spot.HeightMM))[0]
				if spot.PlacementToleranceMM > 0 && o.shifting.Upper95 > 1.02*f.Craft.Limits.HeadingErrorDeg {
					t.Errorf("spot %d: %.2f degrees within its %g mm", spot.Rank, o.shifting.Upper95, spot.PlacementToleranceMM)
				}
				checked++
			}
		}
	}
	if checked == 0 {
		t.Error("no spots")
	}
}

// A saturated probe is a bound, not a reading: it takes its surroundings out.
func TestSaturatedStationIsLeftOut(t *testing.T) {
	w := sandpiper(t, 12)
	runs := walks(w, sim.DefaultProbe(), sim.DefaultHand(), 12, true)
	var where r3.Vec
	for i := range runs[1].Captures {
		c := &runs[1].Captures[i]
		if c.Station == "C3" {
			where = c.At
			for k := range c.Samples {
				c.Samples[k].B.Z = w.Craft.Module.RangeUT
			}
		}
	}
	f := evaluate(t, w.Craft, runs)
	if !noted(f, "reached the probe's full scale") {
		t.Errorf("%q", f.Notes)
	}
	r := rank(t, f)
	if !(r.Excluded["saturated"] > 0) {
		t.Errorf("excluded %v", r.Excluded)
	}
	for _, s := range r.Spots {
		if r2.Norm(r2.Sub(flatten(s.At), flatten(where))) < 45 {
			t.Errorf("spot %d lies on the saturated station", s.Rank)
		}
	}
}

// A supply with reversed polarity drives the field the other way.
func TestReversedPolarity(t *testing.T) {
	w := sandpiper(t, 13)
	p, h := still(w)
	runs := walks(w, p, h, 13, true)[:2]
	load := w.Craft.Loads[0]
	runs = append(runs, sim.Captures(w, p, h, sim.RunOptions{Number: 3, State: load.Name, CurrentA: -0.5 * load.MaxCurrentA, Pulsed: true, Labels: true,
		Rhythm: survey.Rhythm{Pulses: 4, OnS: 1, OffS: 1, DropS: 0.3}, Stations: w.Craft.Stations(), Seed: 5, Started: day}))
	f := evaluate(t, w.Craft, runs)
	for _, s := range f.Stations {
		if d := r3.Norm(r3.Sub(s.Loads[load.Name].Mean, w.LoadField(load.Name, load.MaxCurrentA, s.Sensor))); d > 0.15 {
			t.Errorf("%s: off by %.3f uT", s.Station.Name, d)
		}
	}
}

// Verdicts by bounds are those of the scores, with loads and without.
func TestVerdictsAreThoseOfTheScores(t *testing.T) {
	for _, runs := range []int{2, 4} {
		w := sandpiper(t, 12)
		w.Craft.Grid.SpacingMM = 60
		f := evaluate(t, w.Craft, walks(w, sim.DefaultProbe(), sim.DefaultHand(), 12, true)[:runs])
		for _, limits := range [][2]float64{{1, 20}, {5, 60}} {
			w.Craft.Limits.HeadingErrorDeg, w.Craft.Limits.SteadyUT = limits[0], limits[1]
			s := newScorer(f)
			var places []siting.Place
			for x := -300.0; x <= 300; x += 25 {
				for y := -150.0; y <= 150; y += 25 {
					places = append(places, siting.Place{At: r2.Vec{X: x, Y: y}, HeightMM: 10})
				}
			}
			got, open := s.judgeByBounds(places)
			if len(open) == len(places) {
				t.Error("bounds told no place")
			}
			s.settle(places, got, open)
			count := map[verdict]int{}
			for i, x := range s.of(places) {
				count[got[i]]++
				if want := (verdict{x.steadyOK, x.budgetOK}); got[i] != want {
					t.Errorf("%d runs, limits %v, %v: %v, scored %v", runs, limits, places[i].At, got[i], want)
				}
			}
			if len(count) < 2 {
				t.Errorf("%d runs, limits %v: all verdicts are alike", runs, limits)
			}
		}
	}
}
