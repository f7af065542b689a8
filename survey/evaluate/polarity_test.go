package evaluate_test

import (
	"math"
	"reflect"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// A substitute with its polarity reversed carries the current the other way:
// pulsed both ways, each station's field comes back with the sign of the
// load's own current, and both runs fit one line.
func TestReversedPolarityIsANegativeCurrent(t *testing.T) {
	w := walktest.Sandpiper(t, 5)
	load := w.Craft.Loads[0]
	stations := w.Craft.Stations()[:9]
	var runs []*logbook.Run
	for i, amps := range []float64{6, -6} {
		runs = append(runs, trial.Captures(w, sim.DefaultProbe(), sim.DefaultHand(), trial.RunOptions{
			Number: i + 1, State: load.Name, CurrentA: amps, Pulsed: true, Substitute: true, Labels: true, Stations: stations,
			Rhythm: logbook.Rhythm{Pulses: 4, OnS: 1, OffS: 1, DropS: 0.3}, Started: walktest.Day, Seed: uint64(40 + i), ClockS: 900 * float64(i),
		}))
	}
	f := evaluatetest.Evaluate(t, w.Craft, runs)
	if l := f.Loads[0]; !l.Substitute || l.CurrentA != 6 || math.Abs(l.Factor-load.MaxCurrentA/6) > 1e-9 || l.LackOfFitP < 0.001 {
		t.Errorf("load: %+v", l)
	}
	for _, s := range f.Stations {
		got, want := s.Loads[load.Name], w.LoadField(load.Name, load.MaxCurrentA, s.Sensor)
		if d := r3.Norm(r3.Sub(got.Mean, want)); d > 4*math.Sqrt(got.Cov.Trace()) {
			t.Errorf("%s: %.2f uT, truth %.2f", s.Station.Name, got.Mean, want)
		}
	}
	minus, plus := -6.0, 6.0
	r := logbook.Rhythm{Pulses: 6, OnS: 3, OffS: 3, DropS: 0.5}
	if a, b := evaluate.PlanLoad(load, &minus, r, 18, 5, 0), evaluate.PlanLoad(load, &plus, r, 18, 5, 0); !reflect.DeepEqual(a, b) {
		t.Errorf("a reversed current plans %+v, a forward one %+v", a, b)
	}
}
