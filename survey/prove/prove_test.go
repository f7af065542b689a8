package prove

import (
	"errors"
	"math"
	"reflect"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// proofRuns pulses each load with the module at a place, lifted twice between.
func proofRuns(w *sim.World, at rank.Mount, seed uint64, loads []survey.Load) []*logbook.Run {
	var out []*logbook.Run
	for i, l := range loads {
		run := trial.Captures(w, sim.DefaultProbe(), sim.DefaultHand(), trial.RunOptions{
			Number: 100 + i, State: l.Name, CurrentA: l.MaxCurrentA, Pulsed: true, BaseEvery: -1,
			Rhythm: logbook.Rhythm{Pulses: 5, OnS: 1, OffS: 1, DropS: 0.3}, Labels: true,
			Stations: spotted(at, 3), Started: walktest.Day.Add(time.Hour), Seed: seed*10 + uint64(i),
		})
		run.Header.Proof = true
		out = append(out, run)
	}
	return out
}

// surveyed is one pulsed survey of the catamaran and its best spot.
func surveyed(t *testing.T) (*sim.World, []*logbook.Run, *evaluate.Findings, rank.Mount) {
	w, runs, f := evaluatetest.Catamaran(t, 3)
	r, err := rank.Rank(t.Context(), f, rank.Options{StepMM: 16, Next: -1})
	if err != nil {
		t.Fatal(err)
	}
	at, err := r.Mount(1)
	if err != nil {
		t.Fatal(err)
	}
	return w, runs, f, at
}

func TestProofKeepsOrBreaksThePromise(t *testing.T) {
	w, runs, f, at := surveyed(t)
	p, err := Prove(t.Context(), f, at)
	if err != nil || p.OK || p.Measured != nil || !math.IsNaN(p.PValue) || p.Why.Code != "prove.no_captures" {
		t.Errorf("without captures: %+v, %v", p, err)
	}
	f.Proofs = proofRuns(w, at, 1, w.Craft.Loads[:1])
	if p, err = Prove(t.Context(), f, at); err != nil || p.OK || !reflect.DeepEqual(p.Why.Values["loads"], []string{"right thruster"}) {
		t.Errorf("one of two loads: ok %v, %v, %v", p.OK, p.Why, err)
	}
	trials := simtest.Trials(5, 20)
	kept, broken := 0, 0
	// The same craft with the left lead routed anew, 40 mm under the spot.
	rerouted := *w
	rerouted.Wires = append([]sim.Wire{{Load: w.Craft.Loads[0].Name, Circuit: source.Pair{
		PathMM: []r3.Vec{r3.Add(at.At, r3.Vec{X: -80, Z: 40}), r3.Add(at.At, r3.Vec{X: 80, Z: 40})}, GapMM: 8, CurrentA: 1, Across: r3.Vec{Z: 1}, // one above the other: its field is level
	}.Circuit()}}, w.Wires...)
	for seed := range uint64(trials) {
		f.Proofs = proofRuns(w, at, 10+seed, w.Craft.Loads)
		if p, err = Prove(t.Context(), f, at); err != nil {
			t.Fatal(err)
		}
		if p.OK {
			kept++
		} else {
			t.Logf("seed %d: %v", seed, p.Why)
		}
		f.Proofs = proofRuns(&rerouted, at, 10+seed, w.Craft.Loads)
		if p, err = Prove(t.Context(), f, at); err != nil {
			t.Fatal(err)
		}
		if !p.OK && p.PValue < Significance {
			broken++
		}
	}
	if kept < trials-(3*trials+10)/20 || broken < trials-1 {
		t.Errorf("%d of %d true promises were found kept, %d of %d broken ones found broken", kept, trials, broken, trials)
	}
	// A proof does not enter the map that it is to prove.
	again := evaluatetest.Evaluate(t, w.Craft, append(runs, proofRuns(&rerouted, at, 1, w.Craft.Loads)...))
	point := w.Craft.Module.SensorAt(at.At, 0)
	a, _ := f.Map.Loads[w.Craft.Loads[0].Name].At(point)
	b, _ := again.Map.Loads[w.Craft.Loads[0].Name].At(point)
	if a != b || len(again.Proofs) != 2 {
		t.Errorf("with %d proofs the map says %v, without %v", len(again.Proofs), b, a)
	}
	if _, err := Prove(t.Context(), (&evaluate.Findings{Craft: w.Craft}), at); !errors.Is(err, rank.ErrNoMap) {
		t.Errorf("without a map: %v", err)
	}
	if _, err := (&rank.Ranking{}).Mount(1); !errors.Is(err, rank.ErrNoSuchSpot) {
		t.Errorf("without spots: %v", err)
	}
}
