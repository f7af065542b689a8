package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/report/record"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/guide"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
)

// demoStart is an invented time, so that the same seed gives the same
// bytes.
var demoStart = time.Date(2026, time.June, 1, 10, 0, 0, 0, time.FixedZone("", 3600))

func runDemo(c *cli.Context, sh shell) error {
	if c.NArg() > 0 {
		return wrong("name the folder with --out", "demo takes no argument")
	}
	if c.Bool("serve") {
		return serveDemo(c, sh)
	}
	out, seed := c.String("out"), c.Uint64("seed")
	if err := newDemoFolder(out); err != nil {
		return err
	}
	shown := io.Writer(sh.Out)
	if c.Bool("json") {
		shown = sh.Err
	}
	say(shown, "A simulated survey of an invented craft, seed %d. Nothing here was measured.", seed)
	world, err := sim.Sandpiper(seed)
	if err != nil {
		return err
	}
	d := demonstration{ctx: c.Context, progress: shown, world: world, seed: seed, small: c.Bool("small"), at: demoStart}
	if d.folder, err = opened(c.Context, sh, out); err != nil {
		return err
	}
	if err := d.survey(); err != nil {
		return err
	}
	found, err := evaluateOpened(c.Context, d.folder, "", sh)
	if err != nil {
		return err
	}
	ranking, err := ranked(c.Context, sh, found, rank.Options{})
	if err != nil {
		return err
	}
	if found, err = d.chooseAndProve(sh, found, ranking); err != nil {
		return err
	}
	if err := simulateArrowAndSwing(c.Context, shown, d.folder, world, found, ranking, d.at, seed); err != nil {
		return err
	}
	files, err := computed(c.Context, sh, "drawing the record", func(ctx context.Context, far func(string)) ([]record.File, error) {
		return filing.Files(ctx, d.folder, found, ranking, record.Options{Command: "quietmount record", Tool: version()})
	})
	if err != nil {
		return err
	}
	if err := filing.Write(out, files); err != nil {
		return err
	}
	a := answer.NewRank(words.Terminal, found, ranking)
	if c.Bool("json") {
		return show(c, sh, a, true)
	}
	say(shown, "")
	if err := a.Text(sh.Out); err != nil {
		return err
	}
	say(shown, "\nThe folder is %s; maps and sheet are in %s. Look round:", out, filepath.Join(out, filing.Folder))
	dir := words.Quote(out)
	say(shown, "    quietmount map %s\n    quietmount rank %s\n    quietmount verify %s", dir, dir, dir)
	return nil
}

// newDemoFolder makes the folder and writes the craft file; it refuses a folder
// that is not empty.
func newDemoFolder(dir string) error {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		return withHint(fmt.Errorf("%s is not empty and is left as it is", dir), "choose another with --out, or remove it")
	}
	return createFile(dir, filepath.Join(dir, craftfile.Name), sim.SandpiperTOML())
}

func positive(v float64) *float64 {
	if v > 0 {
		return &v
	}
	return nil
}

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

// servedStations returns the marks; if the probe moves by itself, in the order of
// an unpowered walk.
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

// lines sends the lines of the shell's input and closes the channel at its end.
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
