package main

import (
	"bufio"
	"context"
	"errors"
	"path/filepath"

	"github.com/urfave/cli/v2"

	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/guide"
	"quietmount/survey/sim"
)

// serveDemo plays the simulated module at a pseudo-terminal, so that survey
// and listen can be tried without hardware.
func serveDemo(c *cli.Context, sh shell) error {
	out := c.String("out")
	world, err := sim.Sandpiper(c.Uint64("seed"))
	if err != nil {
		return err
	}
	if _, err := craftfile.Load(out); err != nil {
		if err := newDemoFolder(out); err != nil {
			return err
		}
	}
	port, err := filepath.Abs(filepath.Join(out, "port"))
	if err != nil {
		return err
	}
	stations, err := servedStations(c, world.Craft)
	if err != nil {
		return err
	}
	bench := sim.NewBench(world, sim.DefaultProbe(), sim.DefaultHand(), sim.BenchOptions{Shape: sim.ShapeLabels, Seed: c.Uint64("seed")})
	say(sh.Out, "A simulated module stands at %s", port)
	say(sh.Out, "In another terminal:")
	say(sh.Out, "    quietmount calibrate %s --port %s    (and here: tumble)", words.Quote(out), words.Quote(port))
	say(sh.Out, "    quietmount survey %s --state background --port %s", words.Quote(out), words.Quote(port))
	say(sh.Out, "    quietmount bench %s --port %s    (all of it on a page in the browser)", words.Quote(out), words.Quote(port))
	say(sh.Out, "Type here where the probe goes:\n%s", sim.ControlHelp)
	err = sim.Serve(c.Context, bench, sim.ServeOptions{
		Link: port, Stations: stations, FollowS: c.Float64("follow-s"),
		Commands: lines(c.Context, sh), Say: sh.Out,
	})
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// servedStations are the marks; when the probe follows by itself, in the order
// of an unpowered walk.
func servedStations(c *cli.Context, craft *survey.Craft) ([]survey.Station, error) {
	if !(c.Float64("follow-s") > 0) {
		return craft.Stations(), nil
	}
	route, err := guide.Plan(craft, guide.PlanOptions{State: survey.StateUnpowered})
	if err != nil {
		return nil, err
	}
	var out []survey.Station
	for _, v := range route.Visits {
		out = append(out, v.Station)
	}
	return out, nil
}

// lines are the lines of the shell's input; the channel is closed at its end.
func lines(ctx context.Context, sh shell) <-chan string {
	ch := make(chan string)
	go func() {
		defer close(ch)
		in := bufio.NewScanner(sh.In)
		for in.Scan() {
			select {
			case ch <- in.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return ch
}
