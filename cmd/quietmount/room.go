package main

import (
	"errors"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
)

func runRoom(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	if c.IsSet("port") || c.IsSet("replay") {
		if err := walkBackground(c, sh, dir); err != nil {
			return err
		}
	}
	found, err := evaluateFolder(c.Context, dir, c.String("runs"), sh)
	if errors.Is(err, evaluate.ErrNoRuns) {
		return withHint(err, "take the background first: quietmount room %s --port PORT", words.Quote(dir))
	}
	if err != nil {
		return err
	}
	bench, ok := found.Bench()
	if !ok {
		return withHint(errors.New("no background was measured here"), "take it: quietmount room %s --port PORT", words.Quote(dir))
	}
	checks, err := checked(c.Context, sh, found)
	if err != nil {
		return err
	}
	a := answer.NewRoom(words.Terminal, found, bench, checks)
	return show(c, sh, a, a.OK)
}

// walkBackground takes a background run, as survey does.
func walkBackground(c *cli.Context, sh shell, dir string) error {
	f, err := logbook.OpenFolder(c.Context, dir)
	if err != nil {
		return err
	}
	s := plainSetup(f, survey.StateBackground, sh)
	s.HandsFree, s.NoseDeg, s.Session = c.Bool("hands-free"), noseDeg(c), c.String("session")
	if c.Bool("json") {
		sh.Out = sh.Err // the answer alone goes to standard output
	}
	return conduct(c, sh, s, false)
}
