package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"time"

	"quietmount/report/answer"
	phrase "quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/guide"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/walk"
)

// demonstration is a simulated survey in progress.
type demonstration struct {
	ctx      context.Context
	progress io.Writer
	folder   *logbook.Folder // with the runs walked so far
	world    *sim.World
	seed     uint64
	small    bool
	runs     int       // walked so far
	at       time.Time // on the bench's clock
}

// demoRun is one run of the demonstration.
type demoRun struct {
	state    string
	currentA float64
	pulsed   bool
	spot     *rank.Mount // a proof there
}

// mostSmall is the number of stations of the small demonstration.
const mostSmall = 14

// survey takes the background, unpowered and load runs.
func (d *demonstration) survey() error {
	runs := []demoRun{{state: survey.StateBackground}, {state: survey.StateUnpowered}}
	for _, l := range d.world.Craft.Loads {
		runs = append(runs, demoRun{state: l.Name, currentA: l.MaxCurrentA / 2, pulsed: true})
	}
	return d.walkAll(runs)
}

// chooseAndProve stores the first spot as the chosen one, pulses each load with
// the module there, and evaluates all runs again.
func (d *demonstration) chooseAndProve(sh shell, found *evaluate.Findings, ranking *rank.Ranking) (*evaluate.Findings, error) {
	if len(ranking.Spots) == 0 {
		return found, nil
	}
	quiet := shell{Err: io.Discard, Now: func() time.Time { return d.at }}
	if err := choose(d.ctx, quiet, d.folder.Dir, chosen{rank: 1}, found, ranking); err != nil {
		return nil, err
	}
	at, err := ranking.Mount(1)
	if err != nil {
		return nil, err
	}
	say(d.progress, "  chosen: spot 1; the module is taped there:")
	var runs []demoRun
	for _, l := range d.world.Craft.Loads {
		runs = append(runs, demoRun{state: l.Name, currentA: l.MaxCurrentA / 2, pulsed: true, spot: &at})
	}
	if err := d.walkAll(runs); err != nil {
		return nil, err
	}
	if found, err = evaluateOpened(d.ctx, d.folder, "", sh); err != nil {
		return nil, err
	}
	proof, err := prove.Prove(d.ctx, found, at)
	if err != nil {
		return nil, err
	}
	say(d.progress, "  %s", answer.NewProve(words.Terminal, found, proof, 1).Why)
	return found, nil
}

func (d *demonstration) walkAll(runs []demoRun) error {
	for _, r := range runs {
		if err := d.walk(r); err != nil {
			return fmt.Errorf("%s: %w", r.state, err)
		}
	}
	return nil
}

// walk takes one run, from the bytes of the simulated module through the decoder
// and the guide to the logbook.
func (d *demonstration) walk(r demoRun) error {
	setup := d.setup(r)
	bench := sim.NewBench(d.world, d.probe(), sim.DefaultHand(), sim.BenchOptions{
		Shape: sim.ShapeLabels, Seed: d.seed + uint64(d.runs)<<32, Away: r.state == survey.StateBackground,
		Faults: sim.Faults{Banner: []string{"compass sketch, invented", "ready"}, HalfFirstLine: true},
	})
	operator := sim.NewOperator(bench, sim.OperatorOptions{
		State: r.state, CurrentA: r.currentA, Pulsed: r.pulsed, Stations: append(d.folder.Craft.Stations(), setup.Extra...),
	})
	start := d.at
	begun, err := walk.Begin(setup)
	if err != nil {
		return err
	}
	const longest = 8 * 3600
	sum, err := walk.Run(d.ctx, walk.Config{
		Source: sim.NewStream(bench, link.NewDecoder(link.DecodeOptions{}), longest), Commands: operator.Commands(), Walk: begun.Walk, Writer: begun.Writer,
		Now:   func() time.Time { return start.Add(time.Duration(bench.Now() * float64(time.Second))) },
		Words: words.Terminal.Say,
		Face:  func(e guide.Event) error { operator.Show(e); return nil },
	})
	if err := errors.Join(err, begun.Writer.Close(), d.ctx.Err()); err != nil {
		return err
	}
	read, err := logbook.LoadRun(d.ctx, begun.Writer.File())
	if err != nil {
		return err
	}
	d.folder.Runs = append(d.folder.Runs, read)
	took := time.Duration(bench.Now() * float64(time.Second))
	say(d.progress, "  %-16s %3d captures, %s on the bench's clock", r.state, sum.Captures, phrase.Counted(int(math.Round(took.Minutes())), "minute"))
	d.at = d.at.Add(took + 4*time.Minute)
	d.runs++
	return nil
}

// probe is the simulated one, slower in the small demonstration.
func (d *demonstration) probe() sim.Probe {
	p := sim.DefaultProbe()
	if d.small {
		p.RateHz = 12
	}
	return p
}

func (d *demonstration) setup(r demoRun) walk.Setup {
	nose := d.world.NoseDeg
	s := walk.Setup{
		Folder: d.folder, State: r.state, Pulsed: r.pulsed, CurrentA: positive(r.currentA), NoseDeg: &nose,
		Rules: guide.DefaultRules(), Confirmed: true, Port: logbook.SimulatedPort, Decoder: "text", Tool: version(), Words: words.Terminal.Say, Now: d.at,
	}
	switch {
	case r.spot != nil:
		s.Proof, s.Extra = true, []survey.Station{{Name: evaluate.SpotStation, At: r.spot.Foot()}}
	case d.small && r.pulsed:
		s.Most, s.Rhythm = mostSmall, logbook.Rhythm{Pulses: s.Rules.MinPulses, OnS: 2, OffS: 2, DropS: 0.5}
	case d.small && r.state != survey.StateBackground:
		s.Most = mostSmall
	}
	return s
}
