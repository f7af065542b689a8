package findings

import (
	"flag"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/survey"
	"quietmount/survey/sim"
)

// trialRuns surveys a random craft: eight background places, unpowered, each
// load pulsed or walked.
func trialRuns(t *sim.Trial, pulsed bool) []*survey.Run {
	w := t.World
	stations := w.Craft.Stations()
	var few []survey.Station
	for i := range 8 {
		few = append(few, stations[i*len(stations)/8])
	}
	opts := []sim.RunOptions{
		{State: survey.StateBackground, Stations: few},
		{State: survey.StateUnpowered, Stations: stations, Repeats: 4},
	}
	for _, l := range w.Craft.Loads {
		o := sim.RunOptions{State: l.Name, CurrentA: t.CurrentPart * l.MaxCurrentA, Stations: stations, Repeats: 4}
		if pulsed {
			o.Pulsed, o.Rhythm = true, survey.Rhythm{Pulses: 6, OnS: 1.5, OffS: 1.5, DropS: 0.5}
		}
		opts = append(opts, o)
	}
	var runs []*survey.Run
	clock := 0.0
	rng := rand.New(rand.NewPCG(t.Seed, 0xa3))
	for i, o := range opts {
		o.Number, o.Seed, o.ClockS = i+1, t.Seed*100+uint64(i), clock
		o.Started = day.Add(time.Duration(clock) * time.Second)
		stated := o.CurrentA
		o.CurrentA = misstated(stated, rng)
		run := sim.Captures(w, t.Probe, t.Hand, o)
		run.Header.CurrentA = stated
		last := run.Captures[len(run.Captures)-1].Samples
		clock += last[len(last)-1].TS + 60
		runs = append(runs, run)
	}
	return runs
}

// misstated is the current that really flows where one is stated: the bench's
// meter is as good as the estimator takes it to be.
func misstated(stated float64, rng *rand.Rand) float64 {
	return stated * (1 + currentSD*rng.NormFloat64())
}

// truth is the true worst shifting error at a place, degrees.
func truth(w *sim.World, f *Findings, at r3.Vec) float64 {
	fields := map[string]r3.Vec{}
	for _, l := range w.Craft.Loads {
		fields[l.Name] = w.LoadField(l.Name, l.MaxCurrentA, at)
	}
	ws, most := newWorst(w.Craft, fields), 0.0
	for _, combo := range ws.combos {
		var d r3.Vec
		for _, k := range combo {
			d = r3.Add(d, fields[ws.names[k]])
		}
		deg, _ := heading.Worst(d, f.HUT, w.Craft.Limits.TiltDeg)
		most = max(most, deg)
	}
	return most
}

// craftCount is how many random craft the evidence rests on: one shows that all
// is in order, hundreds give figures.
var craftCount = flag.Int("craft", 1, "random craft in the evidence")
