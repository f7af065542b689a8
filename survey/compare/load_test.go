package compare_test

import (
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/compare"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// Pulsed differences are compared in another room and with the bench turned:
// nothing changed, until the lead is laid elsewhere.
func TestComparePulsedLoad(t *testing.T) {
	drawn, err := trial.Random(11, trial.Plate, false)
	if err != nil {
		t.Fatal(err)
	}
	w := drawn.World
	load := w.Craft.Loads[0]
	moved := *w
	moved.Wires = nil
	for _, q := range w.Wires {
		var path []r3.Vec
		for _, p := range q.Circuit.PathMM {
			path = append(path, r3.Add(p, r3.Vec{Y: 25, Z: 15}))
		}
		q.Circuit.PathMM = path
		moved.Wires = append(moved.Wires, q)
	}
	run := func(number int, w *sim.World) *logbook.Run {
		start := time.Date(2026, 6, number, 9, 0, 0, 0, time.UTC)
		return trial.Captures(w, drawn.Probe, drawn.Hand, trial.RunOptions{
			Number: number, State: load.Name, CurrentA: load.MaxCurrentA, Pulsed: true, Labels: true,
			Stations: walktest.Every(w.Craft.Stations(), 16), Started: start, Session: start.Format(time.DateOnly), Seed: uint64(number),
		})
	}
	first := run(1, w)
	for _, c := range []struct {
		name    string
		second  *logbook.Run
		changed bool
	}{
		{"another room, turned", run(2, anotherRoom(turnedBench(w))), false},
		{"the lead moved", run(3, &moved), true},
	} {
		all := []*logbook.Run{first, c.second}
		got, err := compare.Compare(t.Context(), w.Craft, all, all[:1], all[1:], compare.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if got.Part != load.Name || got.Raw {
			t.Errorf("%s: part %q, raw %v", c.name, got.Part, got.Raw)
		}
		if got.Result.Changed != c.changed {
			t.Errorf("%s: changed %v at %v, want %v", c.name, got.Result.Changed, got.Named(), c.changed)
		}
	}
}
