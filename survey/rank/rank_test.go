package rank

import (
	"fmt"
	"math"
	"reflect"
	"regexp"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// measured are findings of the catamaran.
func measured(t *testing.T) *evaluate.Findings {
	t.Helper()
	_, _, f := evaluatetest.Catamaran(t, 11)
	return f
}

// changed are the same findings for a craft file that was changed since.
func changed(f *evaluate.Findings, change func(*survey.Craft)) *evaluate.Findings {
	out, c := *f, *f.Craft
	c.Parts = slices.Clone(c.Parts)
	change(&c)
	out.Craft = &c
	return &out
}

func rank(t *testing.T, f *evaluate.Findings) *Ranking {
	t.Helper()
	r, err := Rank(t.Context(), f, Options{StepMM: 16})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestHigherIsQuieter(t *testing.T) {
	f := changed(measured(t), func(c *survey.Craft) { c.Heights = []float64{80}; c.Cable = nil })
	s := newScorer(t.Context(), f)
	over := r2.Vec{X: -100, Y: -60} // above the left lead
	low, high := s.of(placesAt(over, 0))[0], s.of(placesAt(over, 80))[0]
	if !(high.Shifting.Upper95 < low.Shifting.Upper95) {
		t.Errorf("bound %.2f degrees on the surface, %.2f at 80 mm above it", low.Shifting.Upper95, high.Shifting.Upper95)
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
		key    string // of a value of the remark
		value  any
		spots  bool
	}{
		{"budget", func(c *survey.Craft) { c.Limits.HeadingErrorDeg = 0.01 }, "rank.all_over_budget", "budget_deg", 0.01, true},
		{"cable", func(c *survey.Craft) { c.Module.CableMM = 30 }, "rank.relax_cable", "", nil, false},
		{"steady", func(c *survey.Craft) { c.Limits.SteadyUT = 0.01 }, "rank.all_over_steady", "limit_ut", 0.01, true},
		{"keepout", func(c *survey.Craft) {
			c.Keepouts = []survey.Keepout{{Name: "lid", OutlineMM: c.Body.OutlineMM}}
			c.Cable, c.Balance = nil, nil
			for i := range c.Parts {
				c.Parts[i].ClearanceMM = 0
			}
		}, "rank.relax_keepout", "keepout", "lid", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := rank(t, changed(f, c.change))
			if k := slices.IndexFunc(r.Why, func(w remark.Remark) bool { return w.Code == c.want }); r.Qualified || k < 0 || !reflect.DeepEqual(r.Why[k].Values[c.key], c.value) && c.key != "" {
				t.Errorf("qualified %v, why %v, want %s with %v", r.Qualified, r.Why, c.want, c.value)
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
	s := newScorer(t.Context(), f)
	checked := 0
	for _, spot := range r.Spots {
		for _, d := range []r2.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {X: 0.6, Y: 0.8}, {X: -0.8, Y: 0.6}} {
			for _, part := range []float64{0.3, 0.7, 0.99} {
				p := r2.Add(flatten(spot.At), r2.Scale(part*spot.PlacementToleranceMM, d))
				o := s.of(placesAt(p, spot.HeightMM))[0]
				if spot.PlacementToleranceMM > 0 && o.Shifting.Upper95 > 1.02*f.Craft.Limits.HeadingErrorDeg {
					t.Errorf("spot %d: %.2f degrees within its %g mm", spot.Rank, o.Shifting.Upper95, spot.PlacementToleranceMM)
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
	w := walktest.Sandpiper(t, 12)
	runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 12, true)
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
	f := evaluatetest.Evaluate(t, w.Craft, runs)
	if !remark.Has(f.Notes, "logbook.at-full-scale") {
		t.Errorf("%v", f.Notes)
	}
	r := rank(t, f)
	if !(r.Excluded[siting.ConstraintName{Kind: KindSaturated}] > 0) {
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
	w := walktest.Sandpiper(t, 13)
	p, h := walktest.Still(w)
	runs := walktest.Walks(w, p, h, 13, true)[:2]
	load := w.Craft.Loads[0]
	runs = append(runs, trial.Captures(w, p, h, trial.RunOptions{Number: 3, State: load.Name, CurrentA: -0.5 * load.MaxCurrentA, Pulsed: true, Labels: true,
		Rhythm: logbook.Rhythm{Pulses: 4, OnS: 1, OffS: 1, DropS: 0.3}, Stations: w.Craft.Stations(), Seed: 5, Started: walktest.Day}))
	f := evaluatetest.Evaluate(t, w.Craft, runs)
	for _, s := range f.Stations {
		if d := r3.Norm(r3.Sub(s.Loads[load.Name].Mean, w.LoadField(load.Name, load.MaxCurrentA, s.Sensor))); d > 0.15 {
			t.Errorf("%s: off by %.3f uT", s.Station.Name, d)
		}
	}
}

// Verdicts by bounds are those of the scores, with loads and without.
func TestVerdictsAreThoseOfTheScores(t *testing.T) {
	for _, runs := range []int{2, 4} {
		w := walktest.Sandpiper(t, 12)
		w.Craft.Grid.SpacingMM = 60
		f := evaluatetest.Evaluate(t, w.Craft, walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 12, true)[:runs])
		for _, limits := range [][2]float64{{1, 20}, {5, 60}} {
			w.Craft.Limits.HeadingErrorDeg, w.Craft.Limits.SteadyUT = limits[0], limits[1]
			s := newScorer(t.Context(), f)
			var places []siting.Place
			for x := -300.0; x <= 300; x += 40 {
				for y := -150.0; y <= 150; y += 30 {
					places = append(places, siting.Place{At: r2.Vec{X: x, Y: y}, HeightMM: 10})
				}
			}
			got, open := s.judgeByBounds(places, s.m)
			if len(open) == len(places) {
				t.Error("bounds told no place")
			}
			s.settle(places, got, open, s.m)
			count := map[verdict]int{}
			for i, x := range s.of(places) {
				count[got[i]]++
				if want := (verdict{x.SteadyOK, x.BudgetOK}); got[i] != want {
					t.Errorf("%d runs, limits %v, %v: %v, scored %v", runs, limits, places[i].At, got[i], want)
				}
			}
			if len(count) < 2 {
				t.Errorf("%d runs, limits %v: all verdicts are alike", runs, limits)
			}
		}
	}
}

var addresses = regexp.MustCompile(`0x[0-9a-f]{6,}`)

// written writes a ranking down, without the addresses of what its pointers lead to.
func written(r *Ranking) string {
	flat := *r
	flat.Relaxations = nil
	out := fmt.Sprintf("%+v", flat)
	for _, x := range r.Relaxations {
		for _, o := range []*Opening{x.Least, x.Best} {
			if o != nil {
				out += fmt.Sprintf("%+v", *o)
			}
		}
		x.Least, x.Best = nil, nil
		out += fmt.Sprintf("%+v", x)
	}
	return addresses.ReplaceAllString(out, "")
}

func TestRankOnTheCatamaran(t *testing.T) {
	w, _, f := evaluatetest.Catamaran(t, 3)
	r, err := Rank(t.Context(), f, Options{StepMM: 16})
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Spots) == 0 || !r.ByShifting {
		t.Fatalf("no spots: %+v", r)
	}
	again, err := Rank(t.Context(), f, Options{StepMM: 16})
	if err != nil {
		t.Fatal(err)
	}
	if written(r) != written(again) {
		t.Error("the same input ranks differently")
	}
	for i, s := range r.Spots {
		t.Logf("%d at %.0f near %s: shifting %.2f (%.2f), steady %.1f uT, tolerance %.0f mm, told %v, cable %.0f, cg %.1f %.1f %v",
			s.Rank, s.At, s.NearestStation, s.Shifting.Estimate, s.Shifting.Upper95, s.SteadyUT.Upper95, s.PlacementToleranceMM, !s.NotToldFromBest, s.CableMM, s.CGXMM, s.CGYMM, s.WorstCombination)
		if i > 0 && s.Expected < r.Spots[i-1].Expected-1e-9 {
			t.Errorf("spot %d is better than the one before", s.Rank)
		}
		if len(w.Craft.Obstacles(flatten(s.At))) > 0 {
			t.Errorf("spot %d cannot be mounted: %v", s.Rank, w.Craft.Obstacles(flatten(s.At)))
		}
		if s.CableMM > w.Craft.Module.CableMM-w.Craft.Cable.SlackMM {
			t.Errorf("spot %d needs %g mm of lead", s.Rank, s.CableMM)
		}
		b := w.Craft.Balance
		if s.CGXMM < b.CGXMM[0] || s.CGXMM > b.CGXMM[1] {
			t.Errorf("spot %d brings the balance to %g", s.Rank, s.CGXMM)
		}
	}
	t.Logf("excluded %v, next %v, why %v", r.Excluded, r.NextStations, r.Why)
	t.Logf("notes %v", f.Notes)
	t.Logf("kernels %v left out %+v pose %.2f place %.2f", f.Map.Kernels, f.LeftOut, f.PoseDeg, f.PlaceMM)
	if len(r.NextStations) == 0 {
		t.Error("nowhere to measure next")
	}
}

func TestSteadyOnlyRanksAndSaysSo(t *testing.T) {
	w := walktest.Sandpiper(t, 6)
	f := evaluatetest.Evaluate(t, w.Craft, walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 6, true)[:2])
	r, err := Rank(t.Context(), f, Options{StepMM: 16})
	if err != nil {
		t.Fatal(err)
	}
	if r.ByShifting || len(r.Spots) == 0 || !math.IsNaN(r.Spots[0].Shifting.Upper95) {
		t.Errorf("%+v", r)
	}
	if !remark.Has(r.Notes, "rank.no_load") {
		t.Errorf("it does not say that nothing shifting was measured: %v", r.Notes)
	}
}

func placesAt(p r2.Vec, height float64) []siting.Place {
	return []siting.Place{{At: p, HeightMM: height}}
}

func flatten(p r3.Vec) r2.Vec { return r2.Vec{X: p.X, Y: p.Y} }

func BenchmarkEvaluateAndRank(b *testing.B) {
	for _, spacing := range []float64{66, 36, 20} {
		w := walktest.Sandpiper(b, 1)
		w.Craft.Grid.SpacingMM = spacing
		runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 1, true)
		stations := len(w.Craft.Stations())
		b.Run(fmt.Sprintf("evaluate %d stations", stations), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				evaluatetest.Evaluate(b, w.Craft, runs)
			}
		})
		b.Run(fmt.Sprintf("rank %d stations", stations), func(b *testing.B) {
			f := evaluatetest.Evaluate(b, w.Craft, runs)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := Rank(b.Context(), f, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// The spots are in the order of what is to be expected; what is spoken of is the
// first that keeps all limits. Where none does, the reason tells a bound over the
// budget from a place that leaves the hand no room.
func TestForemostAndReasons(t *testing.T) {
	at := func(upper, tolerance float64, bound, within bool) Spot {
		s := Spot{PlacementToleranceMM: tolerance, BoundWithin: bound, WithinBudget: within, WithinSteady: true}
		s.Shifting.Upper95 = upper
		return s
	}
	over, tight, good := at(6, 0, false, false), at(4, 2, true, false), at(4.5, 8, true, true)
	f := &evaluate.Findings{Craft: &survey.Craft{Limits: survey.Limits{HeadingErrorDeg: 5, SlipMM: 3}}}
	for _, c := range []struct {
		spots    []Spot
		foremost int // -1: none
		want     string
		value    float64
	}{
		{nil, -1, "rank.no_place", 0},
		{[]Spot{over, tight, good}, 2, "", 0},
		{[]Spot{over, tight}, 0, "rank.no_room_to_slip", 2},
		{[]Spot{at(7, 0, false, false), over}, 0, "rank.all_over_budget", 6},
	} {
		r := &ranker{f: f, out: &Ranking{Spots: c.spots}, scores: []score{{SteadyOK: true}}}
		got := r.out.Foremost()
		if c.foremost < 0 && got != nil || c.foremost >= 0 && got != &r.out.Spots[c.foremost] {
			t.Errorf("%v: foremost %v", c.spots, got)
		}
		if c.want == "" {
			continue
		}
		var picked []int
		if len(c.spots) > 0 {
			picked = []int{0}
		}
		why := r.reasons(picked)[0]
		value := why.Values["tolerance_mm"]
		if value == nil {
			value = why.Values["least_deg"]
		}
		if why.Code != c.want || value != nil && value != c.value {
			t.Errorf("%v: %v", c.spots, why)
		}
	}
}

// Judged again under the same findings a spot stays as it is, tolerance and limits
// included; nearer to what it was set down to keep clear of, both are judged anew.
func TestRejudgedSpotStaysAsItIs(t *testing.T) {
	f := measured(t)
	r := rank(t, f)
	for _, s := range r.Spots[:min(3, len(r.Spots))] {
		got := Rejudge(t.Context(), f, s)
		if got.Shifting != s.Shifting || got.PlacementToleranceMM != s.PlacementToleranceMM || got.WithinBudget != s.WithinBudget || got.CableMM != s.CableMM {
			t.Errorf("spot %d: %+v, again %+v", s.Rank, s, got)
		}
	}
	tight := changed(f, func(c *survey.Craft) { c.Limits.HeadingErrorDeg = 1.01 * r.Spots[0].Shifting.Upper95 })
	if got := Rejudge(t.Context(), tight, r.Spots[0]); !got.BoundWithin || got.PlacementToleranceMM >= r.Spots[0].PlacementToleranceMM || got.WithinBudget != (got.PlacementToleranceMM >= tight.Craft.Limits.SlipMM) {
		t.Errorf("with hardly any budget: %+v", got)
	}
}

// Bounds against brute force, the score of every candidate of the grid: what bounds
// decide the score decides too, as mounted and exactly at the place.
func TestBoundsDecideAsScoresDo(t *testing.T) {
	f := measured(t)
	s := newScorer(t.Context(), f)
	box := f.Craft.Body.OutlineMM.Bounds()
	grid := siting.Lay(box.Min, box.Max, 5, 3000)
	var places []siting.Place
	for k := range grid.Len() {
		if f.Craft.Body.OutlineMM.Contains(grid.At(k)) {
			places = append(places, siting.Place{At: grid.At(k)})
		}
	}
	points := s.sensors(places)
	for _, m := range []*evaluate.Mounted{s.m, s.m.As(s.m.Exact())} {
		low, high, _ := s.shiftingBounds(points, m)
		finite := 0
		for i, on := range m.Loads(points) {
			e, _ := m.Error(on)
			if low[i] > e.Upper95 || high[i] < e.Upper95 {
				t.Errorf("slip %g mm, %v: %g is not within %g to %g", m.SlipMM, points[i], e.Upper95, low[i], high[i])
			}
			if !math.IsInf(high[i], 1) {
				finite++
			}
		}
		t.Logf("slip %g mm: %d places, %d with an upper bound", m.SlipMM, len(points), finite)
	}
}
