package evaluate_test

import (
	"math"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// turnedRuns are a background and an unpowered walk over a few stations of the
// invented catamaran for each direction of the nose.
func turnedRuns(t *testing.T, seed uint64, noses ...float64) (*sim.World, []survey.Station, []*logbook.Run) {
	t.Helper()
	w, err := sim.Sandpiper(seed)
	if err != nil {
		t.Fatal(err)
	}
	stations := walktest.Every(w.Craft.Stations(), 14)
	var runs []*logbook.Run
	for i, nose := range noses {
		for k, state := range []string{survey.StateBackground, survey.StateUnpowered} {
			o := trial.RunOptions{
				Number: 2*i + k + 1, State: state, Stations: stations, Samples: 40, Session: "one", Seed: seed*10 + uint64(2*i+k),
				Started: time.Date(2026, 6, 1, 9+2*i+k, 0, 0, 0, time.UTC), ClockS: float64(2*i+k) * 3600,
			}
			if state == survey.StateUnpowered {
				o.Repeats = 3
			}
			r := trial.Captures(w.Turned(nose), sim.DefaultProbe(), sim.DefaultHand(), o)
			r.Header.NoseDeg = new(nose)
			runs = append(runs, r)
		}
	}
	return w, stations, runs
}

// The simulated craft has magnets and a steel pack;
// two directions tell them apart within the stated covariance, at 92 to 98 % of
// the components over several craft.
func TestTurnedRunsSplitPermanentFromInduced(t *testing.T) {
	craft := uint64(simtest.Trials(3, 12))
	in, all, largest := 0, 0, 0.0
	for seed := range craft {
		w, _, runs := turnedRuns(t, seed+1, 20, 200)
		f, err := evaluate.Evaluate(t.Context(), w.Craft, runs, evaluate.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if f.Turning == nil || f.Turning.Stations != len(f.Stations) || !slices.Equal(f.Turning.InducedAtDeg, []float64{20}) || f.Turning.Why.Code != "evaluate.split" {
			t.Fatalf("seed %d: %+v", seed, f.Turning)
		}
		for _, s := range f.Stations {
			at := func(nose float64) r3.Vec {
				return w.Turned(nose).Steady(s.Sensor)
			}
			a, b := at(20), at(200)
			for _, q := range []struct {
				got  *evaluate.Estimate
				want r3.Vec
			}{{s.Permanent, r3.Scale(0.5, r3.Add(a, b))}, {s.Induced, r3.Scale(0.5, r3.Sub(a, b))}} {
				d := r3.Sub(q.got.Mean, q.want)
				for k, v := range [3]float64{d.X, d.Y, d.Z} {
					all++
					if math.Abs(v) <= 1.96*math.Sqrt(q.got.Cov[k][k]) {
						in++
					}
				}
				largest = max(largest, r3.Norm(s.Induced.Mean))
			}
		}
	}
	share := float64(in) / float64(all)
	t.Logf("%.1f %% of %d intervals hold; the largest induced part is %.1f uT", 100*share, all, largest)
	slack := 3 * math.Sqrt(0.95*0.05/float64(all))
	if share < 0.92-slack || share > 0.98+slack || largest < 3 {
		t.Errorf("%.1f %% of %d intervals hold; the largest induced part is %.1f uT", 100*share, all, largest)
	}
}

// A station that was not captured with the first nose states its induced part
// for another, and the sentence names both.
func TestInducedPartsOfSeveralNoses(t *testing.T) {
	w, stations, runs := turnedRuns(t, 3, 20, 110, 200, 290)
	away := stations[0].Name
	runs[1].Captures = slices.DeleteFunc(runs[1].Captures, func(c logbook.Capture) bool { return c.Station == away })
	f, err := evaluate.Evaluate(t.Context(), w.Craft, runs, evaluate.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if f.Turning == nil || !slices.Equal(slices.Sorted(slices.Values(f.Turning.InducedAtDeg)), []float64{20, 110}) ||
		f.Turning.Why.Code != "evaluate.split" || !slices.Equal(f.Turning.Why.Values["induced_deg"].([]float64), f.Turning.InducedAtDeg) {
		t.Errorf("%+v", f.Turning)
	}
	for _, s := range f.Stations {
		if want := map[bool]float64{true: 110, false: 20}[s.Station.Name == away]; s.InducedAtDeg != want {
			t.Errorf("%s: induced with the nose at %g, want %g", s.Station.Name, s.InducedAtDeg, want)
		}
	}
}

func TestOneDirectionIsNotSplit(t *testing.T) {
	for name, c := range map[string]struct {
		noses []float64
		code  string
	}{
		"one direction": {[]float64{20}, "evaluate.one_nose"},
		"a quarter":     {[]float64{20, 110}, "evaluate.noses_not_opposite"},
	} {
		w, _, runs := turnedRuns(t, 3, c.noses...)
		f, err := evaluate.Evaluate(t.Context(), w.Craft, runs, evaluate.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if f.Turning == nil || f.Turning.Why.Code != c.code || f.Turning.Stations != 0 {
			t.Errorf("%s: %+v", name, f.Turning)
		}
		for _, s := range f.Stations {
			if s.Permanent != nil || s.Induced != nil {
				t.Fatalf("%s: station %s was split", name, s.Station.Name)
			}
		}
		for _, r := range runs {
			r.Header.NoseDeg = nil
		}
		if len(c.noses) > 1 {
			continue
		}
		f, err = evaluate.Evaluate(t.Context(), w.Craft, runs, evaluate.Options{})
		if err != nil || f.Turning.Why.Code != "evaluate.nose_unknown" {
			t.Errorf("%s, unknown: %+v, %v", name, f.Turning, err)
		}
	}
}
