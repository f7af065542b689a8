package findings

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/room"
	"quietmount/survey"
	"quietmount/survey/sim"
)

// Every reading of a load, off and at two currents, against the simulated
// lead's field at that current (Biot and Savart), as the simulator has it.
func TestLoadReadingsFollowTheLead(t *testing.T) {
	w := sandpiper(t, 9)
	p, h := still(w)
	runs := walks(w, p, h, 9, false)[:2]
	load := w.Craft.Loads[0]
	for i, amps := range []float64{-4, 13} {
		runs = append(runs, sim.Captures(w, p, h, sim.RunOptions{Number: 3 + i, State: load.Name, CurrentA: amps, Stations: w.Craft.Stations()[:6], Seed: uint64(40 + i), Started: day}))
	}
	f := evaluate(t, w.Craft, runs)
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

// A current that nobody stated is on no axis of currents.
func TestNoReadingWithoutACurrent(t *testing.T) {
	run := &survey.Run{Header: survey.Header{State: "motor"}}
	craft := &survey.Craft{Loads: []survey.Load{{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 5}}}
	e := &evaluation{f: &Findings{Craft: craft}, obs: []room.Observation{{Craft: true, Pulsed: true}}, from: []int{0}, readings: []reading{{run: run}}}
	if r, ok := e.loadReading(0, 0, r3.Vec{X: 1}); ok {
		t.Errorf("a reading at %g A", r.CurrentA)
	}
}
