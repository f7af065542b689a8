package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/sources"
)

func runSources(c *cli.Context, sh shell) error {
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	all, err := computed(c.Context, sh, "finding the sources", func(ctx context.Context, _ func(string)) (*sources.Findings, error) {
		return sources.Find(ctx, found)
	})
	if err != nil {
		return withHint(err, "survey background and unpowered, or pulse a load, then ask again")
	}
	a := answer.NewSources(words.Terminal, found, all)
	return show(c, sh, a, true)
}
