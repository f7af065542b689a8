package main

import (
	"context"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
)

func proveCommand(sh shell) *cli.Command {
	flags := []cli.Flag{
		&cli.IntFlag{Name: "spot", Usage: "the spot of number `N` in the ranking; default: the chosen spot"},
		&cli.StringFlag{Name: "at", Usage: "a place `X,Y,Z` of the surface instead, mm"},
		&cli.Float64Flag{Name: "height", Usage: "how far above the surface the module stands there, mm"},
	}
	flags = append(append(flags, runFlags()...), linkFlags()...)
	return &cli.Command{
		Name:      "prove",
		Category:  groupAnswer,
		Usage:     "the chosen spot measured before the glue: promised beside measured",
		ArgsUsage: "[DIR]",
		Description: "With --port (or --replay) it captures: tape the module to the spot in its final pose, everything\n" +
			"fitted; the load of --state is pulsed, the module lifted and set back, and the load pulsed again.\n" +
			"One load a call. Without a port it compares what the map promises of the spot with the proofs\n" +
			"captured there; an imported run whose only station is called spot is one too. A proof never\n" +
			"enters the map. Exit status 3: not proved.",
		Flags: append(flags,
			&cli.StringFlag{Name: "axes", Usage: "craft directions of the sensor's x, y and z, e.g. `+x,+y,+z`; default: the craft file's"},
			&cli.StringFlag{Name: "calibration", Usage: "apply the stored calibration `ID`; default: none"},
			&cli.BoolFlag{Name: "hands-free", Usage: "a capture starts by itself when the module has come to rest"},
			&cli.IntFlag{Name: "pulses", Usage: "how often the load is switched on", Value: 6},
			&cli.Float64Flag{Name: "on-s", Usage: "seconds on, and off, of a pulse", Value: 3},
			&cli.Float64Flag{Name: "dwell-s", Usage: "seconds of a capture of the base station", Value: 3},
			runsFlag(), jsonFlag(),
		),
		Action: func(c *cli.Context) error { return runProve(c, sh) },
	}
}

func runProve(c *cli.Context, sh shell) error {
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	at, spot, err := placeToProve(c, sh, found)
	if err != nil {
		return err
	}
	if c.String("port") != "" || c.String("replay") != "" {
		if err := captureProof(c, sh, at); err != nil {
			return err
		}
		if found, err = evaluateRuns(c, sh); err != nil {
			return err
		}
	}
	proof, err := computed(c.Context, sh, "testing the promise", func(ctx context.Context, _ func(string)) (*prove.Proof, error) {
		return prove.Prove(ctx, found, at)
	})
	if err != nil {
		return withHint(err, "pulse each load over the craft first: quietmount survey --state LOAD --pulsed")
	}
	a := answer.NewProve(words.Terminal, found, proof, spot)
	if c.Bool("json") {
		err = answer.WriteJSON(sh.Out, a)
	} else {
		err = a.Text(sh.Out)
	}
	if err == nil && !proof.OK {
		return errNo
	}
	return err
}

// placeToProve is the spot of the flags; 0 for a place given by hand. With
// neither flag it is the chosen one, else where proofs were captured.
func placeToProve(c *cli.Context, sh shell, f *evaluate.Findings) (rank.Mount, int, error) {
	var none rank.Mount
	switch {
	case c.IsSet("spot") && c.IsSet("at"):
		return none, 0, wrong("give one of the two", "--spot and --at both say where")
	case c.IsSet("at"):
		at, err := placeFlag("at", c.String("at"))
		return rank.Mount{At: at, HeightMM: c.Float64("height")}, 0, err
	case c.IsSet("spot"):
		if c.Int("spot") < 1 {
			return none, 0, wrong("1 is the quietest", "--spot %d: a number of the ranking", c.Int("spot"))
		}
		ranking, err := ranked(c.Context, sh, f, rank.Options{Most: max(10, c.Int("spot")), Next: -1})
		if err != nil {
			return none, 0, withHint(err, "pulse each load over the craft first: quietmount survey --state LOAD --pulsed")
		}
		p, err := ranking.Mount(c.Int("spot"))
		if err != nil {
			return none, 0, wrong("see them: quietmount rank", "--spot %d: %v", c.Int("spot"), err)
		}
		return p, c.Int("spot"), nil
	}
	dir, err := folder(c)
	if err != nil {
		return none, 0, err
	}
	choice, err := logbook.Chosen(dir)
	if err != nil {
		return none, 0, err
	}
	if at, ok := prove.MountToProve(f, choice); ok {
		return at, 0, nil
	}
	return none, 0, wrong("see the spots: quietmount rank; keep one: quietmount rank --choose N", "prove needs --spot N or --at X,Y,Z: no spot is chosen")
}

// captureProof walks one pulsed run of the load at the place, the module
// lifted and set back once.
func captureProof(c *cli.Context, sh shell, at rank.Mount) error {
	if loads := loadsOf(c); c.String("state") == "" && len(loads) == 1 {
		if err := c.Set("state", loads[0]); err != nil {
			return err
		}
	}
	if err := c.Set("pulsed", "true"); err != nil {
		return err
	}
	s, err := surveySetup(c, sh)
	if err != nil {
		return err
	}
	s.Proof = true
	s.Extra = []survey.Station{{Name: evaluate.SpotStation, At: at.Foot()}}
	source, err := openSource(c, sh, s.Folder.Craft)
	if err != nil {
		return err
	}
	defer source.Close()
	return conduct(c.Context, sh, s, source, c.Bool("json"))
}

func loadsOf(c *cli.Context) []string {
	dir, err := folder(c)
	if err != nil {
		return nil
	}
	craft, err := craftfile.Load(dir)
	if err != nil {
		return nil
	}
	var out []string
	for _, l := range craft.Loads {
		out = append(out, l.Name)
	}
	return out
}
