package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/urfave/cli/v2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey/balance"
	"quietmount/survey/craftfile"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

func runBalance(c *cli.Context, sh shell) error {
	dir, err := folder(c)
	if err != nil {
		return err
	}
	if c.IsSet("spot") && c.IsSet("rank") {
		return wrong("leave one of them out", "balance takes a place either from --spot or from --rank")
	}
	craft, err := craftfile.Load(dir)
	if err != nil {
		return err
	}
	if _, err := balance.Of(craft, nil); err != nil {
		return withHint(err, "write mass_g for each [[part]] of the craft file, with at_mm, and mass_g under [module]")
	}
	at, note, err := modulePlace(c, dir, sh)
	if err != nil {
		return err
	}
	b, err := balance.Of(craft, at)
	if err != nil {
		return err
	}
	if note != nil {
		b.Notes = append(b.Notes, *note)
	}
	a := answer.NewBalance(words.Terminal, craft.Name, b)
	return show(c, sh, a, b.OK)
}

// modulePlace returns the place of the module: that of the flags, else the best
// spot of the ranking; nil, with a note, if there is none yet.
func modulePlace(c *cli.Context, dir string, sh shell) (*r3.Vec, *remark.Remark, error) {
	if c.IsSet("spot") {
		at, err := placeFlag("spot", c.String("spot"))
		return &at, nil, err
	}
	n := 1
	if c.IsSet("rank") {
		if n = c.Int("rank"); n < 1 {
			return nil, nil, wrong("spots count from 1", "--rank %d", n)
		}
	}
	at, err := rankedPlace(c.Context, dir, c.String("runs"), n, sh)
	if err == nil || c.IsSet("rank") {
		return at, nil, err
	}
	if errors.Is(err, evaluate.ErrNoRuns) || errors.Is(err, rank.ErrNoMap) || errors.Is(err, evaluate.ErrNothing) || errors.Is(err, errNoSpot) {
		return nil, new(remark.New("balance.not_counted")), nil
	}
	return nil, nil, err
}

var errNoSpot = errors.New("the ranking has no such spot")

func rankedPlace(ctx context.Context, dir, runs string, n int, sh shell) (*r3.Vec, error) {
	found, err := evaluateFolder(ctx, dir, runs, sh)
	if err != nil {
		return nil, err
	}
	ranking, err := ranked(ctx, sh, found, rank.Options{Most: max(10, n), Next: -1})
	if err != nil {
		return nil, err
	}
	if n > len(ranking.Spots) {
		return nil, withHint(fmt.Errorf("%w: spot %d of %d", errNoSpot, n, len(ranking.Spots)), "name a place with --spot X,Y,Z")
	}
	return &ranking.Spots[n-1].At, nil
}
