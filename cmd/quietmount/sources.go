package main

import (
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
	all, err := sources.Find(c.Context, found)
	if err != nil {
		return withHint(err, "survey background and unpowered, or pulse a load, then ask again")
	}
	a := answer.NewSources(words.Terminal, found, all)
	return show(c, sh, a, true)
}
