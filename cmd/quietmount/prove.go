package main

import (
	"context"

	"github.com/urfave/cli/v2"
	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/report/answer"
	phrase "quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/prove"
	"quietmount/survey/rank"
	"quietmount/survey/walk"
)

func runProve(c *cli.Context, sh shell) error {
	what, err := askedToProve(c)
	if err != nil {
		return err
	}
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	at, spot, err := placeToProve(c, sh, what, found)
	if err != nil {
		return err
	}
	if c.String("port") != "" || c.String("replay") != "" {
		if err := failedUntilNow(c, sh, found, at); err != nil {
			return err
		}
		say(sh.Err, "put the module %s, its arrow to the nose", placeWords(found.Craft, at))
		if err := captureProof(c, sh, at, found.Craft.Loads); err != nil {
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
	if err := keepVerdict(c, sh, proof); err != nil {
		return err
	}
	a := answer.NewProve(words.Terminal, found, proof, spot)
	return show(c, sh, a, proof.OK)
}

// askedToProve reads --spot and --at, so that a mistake is reported before
// anything is computed. It returns nil with neither flag.
func askedToProve(c *cli.Context) (*chosen, error) {
	switch {
	case c.IsSet("spot") && c.IsSet("at"):
		return nil, wrong("give one of the two", "--spot and --at both say where")
	case c.IsSet("at"):
		at, err := placeFlag("at", c.String("at"))
		return &chosen{at: at}, err
	case c.IsSet("spot") && c.Int("spot") < 1:
		return nil, wrong("1 is the quietest", "--spot %d: a number of the ranking", c.Int("spot"))
	case c.IsSet("spot"):
		return &chosen{rank: c.Int("spot")}, nil
	}
	return nil, nil
}

// placeToProve returns the place to prove and the spot's number, 0 for a place
// given by hand. With neither flag it is the chosen place, else the place of
// earlier proofs.
func placeToProve(c *cli.Context, sh shell, what *chosen, f *evaluate.Findings) (rank.Mount, int, error) {
	var none rank.Mount
	switch {
	case what != nil && what.rank == 0:
		return rank.Mount{At: what.at, HeightMM: c.Float64("height")}, 0, nil
	case what != nil:
		ranking, err := ranked(c.Context, sh, f, rank.Options{Most: max(10, what.rank), Next: -1})
		if err != nil {
			return none, 0, withHint(err, "pulse each load over the craft first: quietmount survey --state LOAD --pulsed")
		}
		p, err := ranking.Mount(what.rank)
		if err != nil {
			return none, 0, wrong("see them: quietmount rank", "--spot %d: %v", what.rank, err)
		}
		return p, what.rank, nil
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

// proofSetup reads the flags of a run at the spot.
func proofSetup(c *cli.Context, sh shell) (walk.Setup, error) {
	s, err := surveySetup(c, sh)
	if err != nil {
		return s, err
	}
	if s.Proof, s.ByProbe = true, c.Bool("probe"); s.ByProbe && s.Folder.Craft.Probe == nil {
		return s, wrong("leave --probe out", "the craft file has no [probe]")
	}
	return s, nil
}

// failedUntilNow keeps the verdict of a proof that has failed by the captures that there
// are: what is captured next is a fresh one.
func failedUntilNow(c *cli.Context, sh shell, f *evaluate.Findings, at rank.Mount) error {
	proof, err := prove.Prove(c.Context, f, at)
	if err != nil {
		return withHint(err, "pulse each load over the craft first: quietmount survey --state LOAD --pulsed")
	}
	return keepVerdict(c, sh, proof)
}

// keepVerdict keeps the verdict of a proof that failed, unless only some runs were
// asked about. A folder that cannot be written to is told, and does not fail.
func keepVerdict(c *cli.Context, sh shell, proof *prove.Proof) error {
	if c.IsSet("runs") || !proof.Failed {
		return nil
	}
	dir, err := folder(c)
	if err != nil {
		return err
	}
	if err := proof.Keep(dir, sh.Now()); err != nil {
		say(sh.Err, "quietmount: warning: %v", err)
	}
	return nil
}

// placeWords describes where a module stands as a hand measures it.
func placeWords(c *survey.Craft, at rank.Mount) string {
	return phrase.FromMarks(c.FromMarks(r2.Vec{X: at.At.X, Y: at.At.Y}), at.HeightMM)
}

// captureProof takes one pulsed run of the load at the place, the module lifted
// and set back between. A craft with one load needs no --state.
func captureProof(c *cli.Context, sh shell, at rank.Mount, loads []survey.Load) error {
	if c.String("state") == "" && len(loads) == 1 {
		if err := c.Set("state", loads[0].Name); err != nil {
			return err
		}
	}
	if err := c.Set("pulsed", "true"); err != nil {
		return err
	}
	s, err := proofSetup(c, sh)
	if err != nil {
		return err
	}
	s.Extra = []survey.Station{{Name: evaluate.SpotStation, At: at.Foot()}}
	return conduct(c, sh, s, c.Bool("json"))
}
