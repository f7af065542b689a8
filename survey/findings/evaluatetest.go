package findings

import (
	"flag"
	"math/rand/v2"
	"quietmount/survey"
	"quietmount/survey/sim"
	"slices"
	"strings"
	"testing"
	"time"
)

// evaluate is the findings of runs on a craft on 1 June 2026; an error ends the test.
func evaluate(t testing.TB, c *survey.Craft, runs []*survey.Run) *Findings {
	t.Helper()
	f, err := Evaluate(c, runs, Options{Date: "2026-06-01"})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// catamaran is the pulsed survey of one invented catamaran, made once for all
// tests: they may change the findings given to them, not what these point to.
func catamaran(t testing.TB, seed uint64) (*sim.World, []*survey.Run, *Findings) {
	t.Helper()
	known, ok := catamarans[seed]
	if !ok {
		known.w = sandpiper(t, seed)
		known.runs = walks(known.w, sim.DefaultProbe(), sim.DefaultHand(), seed, true)
		known.f = evaluate(t, known.w.Craft, known.runs)
		catamarans[seed] = known
	}
	f := *known.f
	return known.w, slices.Clone(known.runs), &f
}

var catamarans = map[uint64]struct {
	w    *sim.World
	runs []*survey.Run
	f    *Findings
}{}

// noted reports whether a note of the findings holds the text.
func noted(f *Findings, text string) bool {
	return slices.ContainsFunc(f.Notes, func(n string) bool { return strings.Contains(n, text) })
}

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

// craftCount is how many random craft the evidence rests on: one shows that all
// is in order, hundreds give figures.
var craftCount = flag.Int("craft", 1, "random craft in the evidence")
