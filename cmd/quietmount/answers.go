package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// evaluateRuns reads the folder on the line and evaluates the runs it chooses.
func evaluateRuns(c *cli.Context, sh shell) (*evaluate.Findings, error) {
	dir, err := folder(c)
	if err != nil {
		return nil, err
	}
	return evaluateFolder(c.Context, dir, c.String("runs"), sh)
}

func evaluateFolder(ctx context.Context, dir, runs string, sh shell) (*evaluate.Findings, error) {
	f, err := opened(ctx, sh, dir)
	if err != nil {
		return nil, err
	}
	return evaluateOpened(ctx, f, runs, sh)
}

// evaluateOpened is evaluateFolder for a folder that was read already.
func evaluateOpened(ctx context.Context, f *logbook.Folder, runs string, sh shell) (*evaluate.Findings, error) {
	chosen, err := logbook.SelectRuns(f.Runs, runs)
	if err != nil {
		return nil, wrong("runs are numbers, e.g. --runs 1,2,5", "--runs: %v", err)
	}
	for _, r := range chosen {
		for _, w := range r.Warnings {
			say(sh.Err, "quietmount: warning: %s", words.Terminal.Placed(w))
		}
	}
	found, err := computed(ctx, sh, "evaluating the runs", func(ctx context.Context, far func(string)) (*evaluate.Findings, error) {
		return evaluate.Evaluate(ctx, f.Craft, chosen, evaluate.Options{Progress: farOf(far)})
	})
	if err != nil {
		return nil, withHint(err, "see where the job stands: quietmount %s", words.Quote(f.Dir))
	}
	return found, nil
}

func mapCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "map",
		Category:  groupAnswer,
		Usage:     "what each station does to a compass, and the map between them",
		ArgsUsage: "[DIR]",
		Description: "Prints the table of stations. With --out it draws the map; the part says which:\n" +
			"shifting (the worst combination of loads), steady, magnitude, or the name of a load.\n" +
			"In place of the one map: --states draws every state, --heights every mounting height, each as\n" +
			"small maps on one scale; --standard-error draws the map beside its own standard error;\n" +
			"--load-chart NAME draws a load's field against its current. A second page goes to FILE-2.",
		Flags: []cli.Flag{
			&cli.StringFlag{Name: "out", Usage: "draw to `FILE`.png, .svg or .pdf"},
			&cli.StringFlag{Name: "part", Usage: "`PART` to draw: shifting, steady, magnitude or a load's name; default: shifting if measured"},
			&cli.Float64Flag{Name: "height", Usage: "draw for a module at `MM` above the surface; default: the first height of the craft file"},
			&cli.BoolFlag{Name: "states", Usage: "draw small maps of the worst combination, of each load and of the craft unpowered"},
			&cli.BoolFlag{Name: "heights", Usage: "draw small maps for every mounting height"},
			&cli.BoolFlag{Name: "standard-error", Usage: "draw the map beside its standard error"},
			&cli.StringFlag{Name: "load-chart", Usage: "draw the field of load `NAME` against its current"},
			&cli.StringFlag{Name: "at", Usage: "the chart's `STATIONS`, apart by commas; default: those nearest to the ranked spots"},
			&cli.BoolFlag{Name: "phone", Usage: "lay the picture out for the screen of a phone"},
			&cli.BoolFlag{Name: "dark", Usage: "draw on a dark ground, for a screen"},
			runsFlag(),
			jsonFlag(),
		},
		Action: func(c *cli.Context) error { return mapAnswer(c, sh) },
	}
}

func mapAnswer(c *cli.Context, sh shell) error {
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	a := answer.NewMap(words.Terminal, found)
	if a.Pictures, err = drawMaps(c, sh, found); err != nil {
		return err
	}
	if c.Bool("json") {
		return answer.WriteJSON(sh.Out, a)
	}
	return a.Text(sh.Out)
}

func rankCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "rank",
		Category:  groupAnswer,
		Usage:     "the spots where the module may be mounted, the quietest first",
		ArgsUsage: "[DIR]",
		Description: "Lists spots that satisfy keep-outs, clearances, cable and balance, ordered by the upper\n" +
			"95 per cent bound of the shifting heading error. Exit status 3: no spot is within the budget.",
		Flags: []cli.Flag{
			&cli.IntFlag{Name: "spots", Value: 8, Usage: "list at most `N` spots"},
			&cli.StringFlag{Name: "choose", Usage: "keep spot `N` of the list, or the place X,Y,Z in mm, as the chosen one in DIR/choice.json"},
			runsFlag(),
			jsonFlag(),
		},
		Action: func(c *cli.Context) error { return runRank(c, sh) },
	}
}

func runRank(c *cli.Context, sh shell) error {
	if c.Int("spots") < 1 {
		return wrong("e.g. --spots 5", "--spots %d: at least one", c.Int("spots"))
	}
	var what chosen
	if c.IsSet("choose") {
		var err error
		if what, err = readChosen(c.String("choose")); err != nil {
			return err
		}
	}
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	ranking, err := ranked(c.Context, sh, found, rank.Options{Most: c.Int("spots")})
	if err != nil {
		return err
	}
	if c.IsSet("choose") {
		dir, err := folder(c)
		if err != nil {
			return err
		}
		if err := choose(sh, dir, what, found, ranking); err != nil {
			return err
		}
	}
	a := answer.NewRank(words.Terminal, found, ranking)
	if c.Bool("json") {
		err = answer.WriteJSON(sh.Out, a)
	} else {
		err = a.Text(sh.Out)
	}
	if err == nil && !ranking.Qualified {
		return errNo
	}
	return err
}
