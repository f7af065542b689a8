package main

import (
	"context"
	"errors"
	"slices"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/picture"
	"quietmount/report/words"
	"quietmount/survey/compare"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

func runCompare(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	f, err := opened(c.Context, sh, dir)
	if err != nil {
		return err
	}
	before, err := side(c, f, "before")
	if err != nil {
		return err
	}
	after, err := side(c, f, "after")
	if err != nil {
		return err
	}
	for _, r := range before {
		if slices.Contains(after, r) {
			return wrong("e.g. --before 2 --after 7", "run %d is named on both sides", r.Header.Run)
		}
	}
	o := compare.Options{Part: c.String("part")}
	choice, err := logbook.LoadChoice(dir)
	switch {
	case err == nil:
		o.Spot = new(rank.ChosenMount(choice))
	case !errors.Is(err, logbook.ErrNoChoice):
		return err
	}
	helping, err := helpers(c, f, before, after)
	if err != nil {
		return err
	}
	found, err := computed(c.Context, sh, "comparing the surveys", func(ctx context.Context, _ func(string)) (*compare.Comparison, error) {
		return compare.Compare(ctx, f.Craft, helping, before, after, o)
	})
	if err != nil {
		return withHint(err, "see what the runs hold: quietmount %s", dir)
	}
	return printComparison(c, sh, found, o.Spot != nil)
}

// helpers returns the runs whose backgrounds and loads either side may use: those
// of --runs, and the two sides themselves.
func helpers(c *cli.Context, f *logbook.Folder, before, after []*logbook.Run) ([]*logbook.Run, error) {
	chosen, err := logbook.SelectRuns(f.Runs, c.String("runs"))
	if err != nil {
		return nil, wrong("runs are numbers, e.g. --runs 1,2,5", "--runs: %v", err)
	}
	var out []*logbook.Run
	for _, r := range f.Runs {
		if slices.Contains(chosen, r) || slices.Contains(before, r) || slices.Contains(after, r) {
			out = append(out, r)
		}
	}
	return out, nil
}

// side returns the runs of a flag.
func side(c *cli.Context, f *logbook.Folder, flag string) ([]*logbook.Run, error) {
	if c.String(flag) == "" {
		return nil, wrong("e.g. --before 2 --after 7", "compare wants --before and --after")
	}
	runs, err := logbook.SelectRuns(f.Runs, c.String(flag))
	if err != nil {
		return nil, wrong("runs are numbers, e.g. --before 2 --after 7", "--%s: %v", flag, err)
	}
	return runs, nil
}

func printComparison(c *cli.Context, sh shell, found *compare.Comparison, chosen bool) error {
	a := answer.NewCompare(words.Terminal, found, chosen)
	if out := c.String("out"); out != "" {
		p, err := picture.Change(c.Context, found)
		if err != nil {
			return err
		}
		if err := drawTo(out, p); err != nil {
			return err
		}
		a.Pictures = append(a.Pictures, out)
	}
	return show(c, sh, a, a.Verdict != answer.VerdictFalls)
}
