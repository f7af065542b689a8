package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/sources"
)

func sourcesCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "sources",
		Category:  groupAnswer,
		Usage:     "which magnets and leads cause it, how strong they are, how far away is far enough",
		ArgsUsage: "[DIR]",
		Description: "Fits small magnets and the described leads to what the stations saw, for the steady part and\n" +
			"for each load. Parts that the craft file marks as magnetic, and leads with a path, are tried\n" +
			"first at their places. Distances are for the worst orientation.",
		Flags:  []cli.Flag{runsFlag(), jsonFlag()},
		Action: func(c *cli.Context) error { return runSources(c, sh) },
	}
}

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
	if c.Bool("json") {
		return answer.WriteJSON(sh.Out, a)
	}
	return a.Text(sh.Out)
}
