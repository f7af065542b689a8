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

func roomCommand(sh shell) *cli.Command {
	return &cli.Command{
		Name:      "room",
		Category:  groupModule,
		Usage:     "is this bench fit to measure on",
		ArgsUsage: "[DIR]",
		Description: "Judges the background captures of the folder: how much the field changes over the craft's\n" +
			"area and in time. With --port (or --replay) it first takes them, as survey --state background\n" +
			"does; they count as the background run. Exit status 3: not fit.",
		Flags: append(append(linkFlags(),
			&cli.BoolFlag{Name: "hands-free", Usage: "a capture starts by itself when the probe has come to rest"},
			&cli.Float64Flag{Name: "nose-deg", Usage: "magnetic direction in which the nose will point"},
			&cli.StringFlag{Name: "session", Usage: "`NAME` of the set-up; default: the day"},
		), runsFlag(), jsonFlag()),
		Action: func(c *cli.Context) error { return runRoom(c, sh) },
	}
}

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
	a := answer.NewRoom(words.Terminal, found, bench)
	if c.Bool("json") {
		err = answer.WriteJSON(sh.Out, a)
	} else {
		err = a.Text(sh.Out)
	}
	if err == nil && !bench.Fit {
		return errNo
	}
	return err
}

// walkBackground takes a background run, as survey does.
func walkBackground(c *cli.Context, sh shell, dir string) error {
	f, err := logbook.OpenFolder(c.Context, dir)
	if err != nil {
		return err
	}
	source, err := openSource(c, sh, f.Craft)
	if err != nil {
		return err
	}
	defer source.Close()
	s := plainSetup(f, survey.StateBackground, sh)
	s.HandsFree, s.NoseDeg, s.Session = c.Bool("hands-free"), noseDeg(c), c.String("session")
	if c.Bool("json") {
		sh.Out = sh.Err // the answer alone goes to standard output
	}
	return conduct(c.Context, sh, s, source, false)
}
