package evaluate_test

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/simtest"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

func TestWithoutNoiseTheTruthComesBack(t *testing.T) {
	for _, pulsed := range []bool{false, true} {
		w := walktest.Sandpiper(t, 1)
		p, h := walktest.Still(w)
		f := evaluatetest.Evaluate(t, w.Craft, walktest.Walks(w, p, h, 1, pulsed))
		if f.Basis != evaluate.BasisVector || len(f.Stations) != len(w.Craft.Stations()) {
			t.Fatalf("basis %s, %d stations of %d", f.Basis, len(f.Stations), len(w.Craft.Stations()))
		}
		for _, s := range f.Stations {
			// The base station sees the craft, by some tens of nanotesla; the
			// room is known to the same degree everywhere.
			if d := r3.Norm(r3.Sub(s.Steady.Mean, w.Steady(s.Sensor))); d > 0.15 {
				t.Errorf("pulsed %v, %s: steady off by %.3f uT", pulsed, s.Station.Name, d)
			}
			for _, l := range w.Craft.Loads {
				want := w.LoadField(l.Name, l.MaxCurrentA, s.Sensor)
				if d := r3.Norm(r3.Sub(s.Loads[l.Name].Mean, want)); d > 0.15 {
					t.Errorf("pulsed %v, %s: %s off by %.3f uT", pulsed, s.Station.Name, l.Name, d)
				}
			}
		}
	}
}

func TestStationIntervalsHold(t *testing.T) {
	surveys := simtest.Trials(4, 8)
	count := map[string][2]float64{}
	add := func(what string, e evaluate.Estimate, truth r3.Vec) {
		c := count[what]
		d := r3.Sub(e.Mean, truth)
		for i, x := range []float64{d.X, d.Y, d.Z} {
			c[1]++
			if math.Abs(x) < 1.96*math.Sqrt(e.Cov[i][i]) {
				c[0]++
			}
		}
		count[what] = c
	}
	loo := map[string][]float64{}
	for seed := range surveys {
		w := walktest.Sandpiper(t, uint64(seed))
		pulsed := seed%2 == 0
		f := evaluatetest.Evaluate(t, w.Craft, walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), uint64(seed), pulsed))
		for _, s := range f.Stations {
			add("steady", *s.Steady, w.Steady(s.Sensor))
			for _, l := range w.Craft.Loads {
				add(fmt.Sprintf("load, pulsed %v", pulsed), s.Loads[l.Name], w.LoadField(l.Name, l.MaxCurrentA, s.Sensor))
			}
		}
		for k, v := range f.LeftOut {
			loo[k] = append(loo[k], v.Inside95Fraction)
		}
	}
	for what, c := range count {
		f := c[0] / c[1]
		t.Logf("%s: %.1f %% of %.0f inside 95 %%", what, 100*f, c[1])
		if f < 0.92 || f > 0.985 {
			t.Errorf("%s: coverage %.3f", what, f)
		}
	}
	for k, v := range loo {
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		t.Logf("left out, %s: %.1f %% inside", k, 100*sum/float64(len(v)))
		if m := sum / float64(len(v)); m < 0.9 {
			t.Errorf("left out, %s: coverage %.3f", k, m)
		}
	}
}

func TestExtrapolationGrowsWithTheFactor(t *testing.T) {
	w := walktest.Sandpiper(t, 5)
	p, h := sim.DefaultProbe(), sim.DefaultHand()
	full := walktest.Walks(w, p, h, 5, true)
	low := walktest.Walks(w, p, h, 5, true)
	for _, l := range w.Craft.Loads {
		for i, r := range low {
			if r.Header.State == l.Name {
				low[i] = trial.Captures(w, p, h, trial.RunOptions{Number: i + 1, State: l.Name, CurrentA: l.MaxCurrentA / 10, Pulsed: true, Labels: true,
					Rhythm: logbook.Rhythm{Pulses: 4, OnS: 1, OffS: 1, DropS: 0.3}, Stations: w.Craft.Stations(), Seed: 99, Started: walktest.Day})
			}
		}
	}
	a, b := evaluatetest.Evaluate(t, w.Craft, full), evaluatetest.Evaluate(t, w.Craft, low)
	if math.Abs(b.Factor-10) > 1e-9 || a.Factor != 1 {
		t.Errorf("factors %g and %g, want 1 and 10", a.Factor, b.Factor)
	}
	name := w.Craft.Loads[0].Name
	var va, vb []float64
	for i := range a.Stations {
		va = append(va, a.Stations[i].Loads[name].Cov.Trace())
		vb = append(vb, b.Stations[i].Loads[name].Cov.Trace())
	}
	slices.Sort(va)
	slices.Sort(vb)
	// The quiet half of the stations is all sensor noise: a hundredfold.
	if q := vb[len(vb)/4] / va[len(va)/4]; q < 20 {
		t.Errorf("variance grew by %.1f at the quiet stations", q)
	}
}

func TestWithoutBackgroundMagnitudesOnly(t *testing.T) {
	w := walktest.Sandpiper(t, 4)
	runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 4, true)[1:]
	f := evaluatetest.Evaluate(t, w.Craft, runs)
	if f.Basis != evaluate.BasisMagnitude {
		t.Errorf("basis %s", f.Basis)
	}
	for _, s := range f.Stations {
		if s.Steady != nil || s.MagnitudeDifference == nil || s.Against != evaluate.AgainstReference {
			t.Fatalf("%s: steady %v, difference %v against %s", s.Station.Name, s.Steady, s.MagnitudeDifference, s.Against)
		}
		if s.Shifting == nil || s.ShiftingError == nil {
			t.Fatalf("%s: a pulsed difference needs no background", s.Station.Name)
		}
	}
	if _, err := rank.Rank(t.Context(), f, rank.Options{StepMM: 16}); err != nil {
		t.Error(err)
	}
}

func TestBadInput(t *testing.T) {
	w := walktest.Sandpiper(t, 7)
	runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 7, true)
	c := w.Craft
	t.Run("no runs", func(t *testing.T) {
		if _, err := evaluate.Evaluate(t.Context(), c, nil, evaluate.Options{}); !errors.Is(err, evaluate.ErrNoRuns) {
			t.Error(err)
		}
	})
	t.Run("date", func(t *testing.T) {
		if _, err := evaluate.Evaluate(t.Context(), c, runs, evaluate.Options{Date: "yesterday"}); err == nil || !strings.Contains(err.Error(), "yesterday") {
			t.Error(err)
		}
	})
	t.Run("no captures", func(t *testing.T) {
		if _, err := evaluate.Evaluate(t.Context(), c, []*logbook.Run{{Header: runs[1].Header}}, evaluate.Options{}); !errors.Is(err, evaluate.ErrNothing) {
			t.Error(err)
		}
	})
	t.Run("unknown state", func(t *testing.T) {
		odd := *runs[3]
		odd.Header.State = "kite"
		f := evaluatetest.Evaluate(t, c, append(slices.Clone(runs[:3]), &odd))
		if !remark.Has(f.Notes, "evaluate.run_left_out") {
			t.Errorf("%v", f.Notes)
		}
	})
	t.Run("not a number", func(t *testing.T) {
		odd := *runs[1]
		odd.Captures = slices.Clone(odd.Captures)
		s := slices.Clone(odd.Captures[4].Samples)
		s[3].B.X = math.NaN()
		odd.Captures[4].Samples = s
		f := evaluatetest.Evaluate(t, c, []*logbook.Run{runs[0], &odd, runs[2]})
		if !remark.Has(f.Notes, "evaluate.capture_left_out") {
			t.Errorf("%v", f.Notes)
		}
	})
	t.Run("one station", func(t *testing.T) {
		one := func(r *logbook.Run) *logbook.Run {
			o := *r
			o.Captures = []logbook.Capture{r.Captures[1]}
			return &o
		}
		f := evaluatetest.Evaluate(t, c, []*logbook.Run{one(runs[0]), one(runs[1]), one(runs[2])})
		r, err := rank.Rank(t.Context(), f, rank.Options{StepMM: 16})
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range r.Spots {
			if s.PlacementToleranceMM > 0 && s.Interpolated {
				t.Errorf("one station vouches for a spot away from it: %+v", s)
			}
		}
		if !slices.ContainsFunc(r.Notes, func(n remark.Remark) bool { return n.Code == "rank.few_stations" && n.Values["stations"] == 1 }) {
			t.Errorf("it does not say how little was measured: %v", r.Notes)
		}
	})
	t.Run("all in a line", func(t *testing.T) {
		line := func(r *logbook.Run) *logbook.Run {
			o := *r
			o.Captures = slices.DeleteFunc(slices.Clone(r.Captures), func(k logbook.Capture) bool { return k.Visit != logbook.VisitBase && math.Abs(k.At.Y) > 1 })
			return &o
		}
		f := evaluatetest.Evaluate(t, c, []*logbook.Run{runs[0], line(runs[1]), line(runs[2]), line(runs[3])})
		if _, err := rank.Rank(t.Context(), f, rank.Options{StepMM: 16}); err != nil {
			t.Error(err)
		}
	})
	t.Run("identical captures", func(t *testing.T) {
		same := func(r *logbook.Run) *logbook.Run {
			o := *r
			o.Captures = slices.Clone(r.Captures)
			for i := range o.Captures {
				o.Captures[i].Samples = r.Captures[1].Samples
			}
			return &o
		}
		f := evaluatetest.Evaluate(t, c, []*logbook.Run{same(runs[0]), same(runs[1]), same(runs[2])})
		if !remark.Has(f.Notes, "evaluate.copied") {
			t.Errorf("%v", f.Notes)
		}
		if _, err := rank.Rank(t.Context(), f, rank.Options{StepMM: 16}); err != nil {
			t.Error(err)
		}
	})
	t.Run("load without unpowered", func(t *testing.T) {
		walked := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 7, false)
		f := evaluatetest.Evaluate(t, c, []*logbook.Run{walked[0], walked[2]})
		if !remark.Has(f.Notes, "evaluate.no_unpowered") || !remark.Has(f.Notes, "evaluate.load_not_measured") {
			t.Errorf("%v", f.Notes)
		}
	})
	t.Run("no axes", func(t *testing.T) {
		odd := *runs[1]
		odd.Header.Axes = nil
		if f := evaluatetest.Evaluate(t, c, []*logbook.Run{runs[0], &odd}); !remark.Has(f.Notes, "evaluate.no_axes") {
			t.Errorf("%v", f.Notes)
		}
	})
	t.Run("another craft file", func(t *testing.T) {
		odd := *runs[1]
		odd.Header.CraftSHA256 = "0123"
		if f := evaluatetest.Evaluate(t, c, []*logbook.Run{runs[0], &odd}); !remark.Has(f.Notes, "evaluate.craft_changed") {
			t.Errorf("%v", f.Notes)
		}
	})
	t.Run("contradiction", func(t *testing.T) {
		odd := *runs[1]
		odd.Captures = slices.Clone(odd.Captures)
		var again logbook.Capture
		for _, k := range odd.Captures {
			if k.Visit == logbook.VisitRepeat {
				again = k
			}
		}
		again.Samples = slices.Clone(again.Samples)
		for i := range again.Samples {
			again.Samples[i].B = r3.Add(again.Samples[i].B, r3.Vec{X: 25})
		}
		odd.Captures = append(odd.Captures, again)
		if f := evaluatetest.Evaluate(t, c, []*logbook.Run{runs[0], &odd}); !remark.Has(f.Notes, "evaluate.contradicts") {
			t.Errorf("%v", f.Notes)
		}
	})
}

func TestSessions(t *testing.T) {
	w := walktest.Sandpiper(t, 8)
	runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 8, true)
	runs[1].Header.Session, runs[0].Header.Session = "Tuesday", "Monday"
	f := evaluatetest.Evaluate(t, w.Craft, runs[:2])
	if f.Basis != evaluate.BasisVector || !remark.Has(f.Notes, "evaluate.background_borrowed") {
		t.Errorf("a background of another day: basis %s, notes %v", f.Basis, f.Notes)
	}
	turned := *runs[1].Header.NoseDeg + 90
	runs[1].Header.NoseDeg = &turned
	f = evaluatetest.Evaluate(t, w.Craft, runs[:2])
	if f.Basis != evaluate.BasisMagnitude || !remark.Has(f.Notes, "evaluate.no_background") {
		t.Errorf("a background with the nose elsewhere: basis %s, notes %v", f.Basis, f.Notes)
	}
}

func TestSeveralCurrentsMakeOneSlope(t *testing.T) {
	w := walktest.Sandpiper(t, 9)
	p, h := walktest.Still(w)
	runs := walktest.Walks(w, p, h, 9, false)[:2]
	load := w.Craft.Loads[0]
	for i, part := range []float64{0.3, 0.8} {
		runs = append(runs, trial.Captures(w, p, h, trial.RunOptions{Number: 3 + i, State: load.Name, CurrentA: part * load.MaxCurrentA, Stations: w.Craft.Stations(), Seed: uint64(40 + i), Started: walktest.Day}))
	}
	f := evaluatetest.Evaluate(t, w.Craft, runs)
	for _, s := range f.Stations {
		if d := r3.Norm(r3.Sub(s.Loads[load.Name].Mean, w.LoadField(load.Name, load.MaxCurrentA, s.Sensor))); d > 0.2 {
			t.Errorf("%s: off by %.3f uT", s.Station.Name, d)
		}
	}
	if math.Abs(f.Factor-1/0.8) > 1e-9 {
		t.Errorf("factor %g, want 1.25", f.Factor)
	}
}

// Every reading of a load, off and at two currents, against the simulated
// lead's field at that current (Biot and Savart), as the simulator has it.
func TestLoadReadingsFollowTheLead(t *testing.T) {
	w := walktest.Sandpiper(t, 9)
	p, h := walktest.Still(w)
	runs := walktest.Walks(w, p, h, 9, false)[:2]
	load := w.Craft.Loads[0]
	for i, amps := range []float64{-4, 13} {
		runs = append(runs, trial.Captures(w, p, h, trial.RunOptions{Number: 3 + i, State: load.Name, CurrentA: amps, Stations: w.Craft.Stations()[:6], Seed: uint64(40 + i), Started: walktest.Day}))
	}
	f := evaluatetest.Evaluate(t, w.Craft, runs)
	at := map[float64]int{}
	for _, s := range f.Stations[:6] {
		for _, r := range s.Readings {
			at[r.CurrentA]++
			if d := r3.Norm(r3.Sub(r.B, w.LoadField(load.Name, r.CurrentA, s.Sensor))); d > 0.2 || r.Load != load.Name || r.Pulsed {
				t.Errorf("%s at %g A: %s off by %.3f uT", s.Station.Name, r.CurrentA, r.Load, d)
			}
			if sd := math.Sqrt(r.Cov.Trace()); !(sd > 0) {
				t.Errorf("%s at %g A: an uncertainty of %v", s.Station.Name, r.CurrentA, sd)
			}
		}
	}
	if at[-4] != 6 || at[13] != 6 || at[0] < 6 {
		t.Errorf("readings by current: %v", at)
	}
	for _, s := range f.Stations[6:] {
		if len(s.Readings) > 0 {
			t.Errorf("%s: %d readings of a load that was never on there", s.Station.Name, len(s.Readings))
		}
	}
}
