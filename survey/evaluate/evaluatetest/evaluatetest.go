// Package evaluatetest evaluates fabricated runs, those of random craft too.
// Only tests import it.
package evaluatetest

import (
	"flag"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// Evaluate is the findings of runs on a craft on 1 June 2026; an error ends the test.
func Evaluate(t testing.TB, c *survey.Craft, runs []*logbook.Run) *evaluate.Findings {
	t.Helper()
	f, err := evaluate.Evaluate(t.Context(), c, runs, evaluate.Options{Date: "2026-06-01"})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// Catamaran is the pulsed survey of one invented catamaran, made once for all
// tests: they may change the findings given to them, not what these point to.
func Catamaran(t testing.TB, seed uint64) (*sim.World, []*logbook.Run, *evaluate.Findings) {
	t.Helper()
	known, ok := catamarans[seed]
	if !ok {
		known.w = walktest.Sandpiper(t, seed)
		known.runs = walktest.Walks(known.w, sim.DefaultProbe(), sim.DefaultHand(), seed, true)
		known.f = Evaluate(t, known.w.Craft, known.runs)
		catamarans[seed] = known
	}
	f := *known.f
	return known.w, slices.Clone(known.runs), &f
}

var catamarans = map[uint64]struct {
	w    *sim.World
	runs []*logbook.Run
	f    *evaluate.Findings
}{}

// TrialRuns surveys a random craft: eight background places, unpowered, each
// load pulsed or walked.
func TrialRuns(t *trial.Trial, pulsed bool) []*logbook.Run {
	w := t.World
	stations := w.Craft.Stations()
	var few []survey.Station
	for i := range 8 {
		few = append(few, stations[i*len(stations)/8])
	}
	opts := []trial.RunOptions{
		{State: survey.StateBackground, Stations: few},
		{State: survey.StateUnpowered, Stations: stations, Repeats: 4},
	}
	for _, l := range w.Craft.Loads {
		o := trial.RunOptions{State: l.Name, CurrentA: t.CurrentPart * l.MaxCurrentA, Stations: stations, Repeats: 4}
		if pulsed {
			o.Pulsed, o.Rhythm = true, logbook.Rhythm{Pulses: 6, OnS: 1.5, OffS: 1.5, DropS: 0.5}
		}
		opts = append(opts, o)
	}
	var runs []*logbook.Run
	clock := 0.0
	rng := rand.New(rand.NewPCG(t.Seed, 0xa3))
	for i, o := range opts {
		o.Number, o.Seed, o.ClockS = i+1, t.Seed*100+uint64(i), clock
		o.Started = walktest.Day.Add(time.Duration(clock) * time.Second)
		stated := o.CurrentA
		o.CurrentA = Misstated(stated, rng)
		run := trial.Captures(w, t.Probe, t.Hand, o)
		run.Header.CurrentA = new(stated)
		last := run.Captures[len(run.Captures)-1].Samples
		clock += last[len(last)-1].TS + 60
		runs = append(runs, run)
	}
	return runs
}

// Misstated is the current that really flows where one is stated: the bench's
// meter is as good as the estimator takes it to be.
func Misstated(stated float64, rng *rand.Rand) float64 {
	return stated * (1 + evaluate.TypedCurrentSD*rng.NormFloat64())
}

// CraftCount is how many random craft the evidence rests on: one shows that all
// is in order, hundreds give figures.
var CraftCount = flag.Int("craft", 1, "random craft in the evidence")
