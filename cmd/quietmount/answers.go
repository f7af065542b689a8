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

func runMap(c *cli.Context, sh shell) error {
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	a := answer.NewMap(words.Terminal, found)
	if a.Pictures, err = drawMaps(c, sh, found); err != nil {
		return err
	}
	return show(c, sh, a, true)
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
	return show(c, sh, a, ranking.Qualified)
}
