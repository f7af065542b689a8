// Package walktest fabricates the walks of a small survey over the invented
// catamaran. Only tests import it.
package walktest

import (
	"testing"
	"time"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
)

// Day is when the invented surveys begin.
var Day = time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)

// Walks fabricates background, unpowered and each load of a world.
func Walks(w *sim.World, p sim.Probe, h sim.Hand, seed uint64, pulsed bool) []*logbook.Run {
	stations := w.Craft.Stations()
	few := make([]survey.Station, 0, 8)
	for i := range 8 {
		few = append(few, stations[i*len(stations)/8])
	}
	opts := []trial.RunOptions{
		{State: survey.StateBackground, Stations: few},
		{State: survey.StateUnpowered, Stations: stations, Repeats: 3},
	}
	for _, l := range w.Craft.Loads {
		opts = append(opts, trial.RunOptions{State: l.Name, CurrentA: l.MaxCurrentA, Stations: stations, Repeats: 3, Pulsed: pulsed, Labels: pulsed})
	}
	var runs []*logbook.Run
	clock := 0.0
	for i, o := range opts {
		o.Number, o.Seed, o.Started = i+1, seed*100+uint64(i), Day.Add(time.Duration(clock)*time.Second)
		o.ClockS = clock
		if o.Pulsed {
			// A short rhythm keeps the test quick.
			o.Rhythm = logbook.Rhythm{Pulses: 4, OnS: 1, OffS: 1, DropS: 0.3}
		}
		run := trial.Captures(w, p, h, o)
		last := run.Captures[len(run.Captures)-1]
		clock += last.Samples[len(last.Samples)-1].TS + 60
		runs = append(runs, run)
	}
	return runs
}

// Sandpiper returns the invented catamaran with a coarser grid, which keeps the
// tests quick.
func Sandpiper(t testing.TB, seed uint64) *sim.World {
	t.Helper()
	w, err := sim.Sandpiper(seed)
	if err != nil {
		t.Fatal(err)
	}
	w.Craft.Grid.SpacingMM = 90
	return w
}

// Still returns a perfect hand with a silent probe in a room without drift.
func Still(w *sim.World) (sim.Probe, sim.Hand) {
	w.Room.Drift = sim.Drift{}
	return sim.Probe{RateHz: 50, NoiseUT: 1e-4}, sim.Hand{}
}

// Every picks n of the stations, evenly through the list.
func Every(all []survey.Station, n int) []survey.Station {
	var out []survey.Station
	for i := range min(n, len(all)) {
		out = append(out, all[i*len(all)/min(n, len(all))])
	}
	return out
}
