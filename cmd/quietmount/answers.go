package main

import (
	"context"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/answer"
	"quietmount/report/filing"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// evaluateRuns reads the folder of the command line and evaluates the runs that
// its flags choose.
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
	asked, err := askedPicture(c)
	if err != nil {
		return err
	}
	found, err := evaluateRuns(c, sh)
	if err != nil {
		return err
	}
	checks, err := checked(c.Context, sh, found)
	if err != nil {
		return err
	}
	a := answer.NewMap(words.Terminal, found, checks)
	if a.Pictures, err = drawMaps(c, sh, asked, found); err != nil {
		return err
	}
	return show(c, sh, a, gate.Trusted(checks))
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
		if err := choose(c.Context, sh, dir, what, found, ranking); err != nil {
			return err
		}
	}
	a := answer.NewRank(words.Terminal, found, ranking)
	return show(c, sh, a, ranking.Qualified)
}

// choose writes the chosen spot into the folder.
func choose(ctx context.Context, sh shell, dir string, what chosen, found *evaluate.Findings, ranking *rank.Ranking) error {
	spot, broken, err := what.spot(ctx, found, ranking)
	if err != nil {
		return err
	}
	if _, err := filing.KeepChoice(dir, found, *spot, broken, sh.Now(), version()); err != nil {
		return err
	}
	say(sh.Err, "chosen: x %.0f, y %.0f, z %.0f mm, written to %s", spot.At.X, spot.At.Y, spot.At.Z, filepath.Join(dir, logbook.ChoiceFile))
	for _, c := range filing.ChoiceCautions(*spot, broken) {
		say(sh.Err, "quietmount: warning: %s", c)
	}
	return nil
}

// chosen is the value of --choose, --spot or --at: a rank, or a place.
type chosen struct {
	rank int // 0: by hand
	at   r3.Vec
}

// readChosen reads the flag, so that a mistake is reported before anything is
// computed.
func readChosen(text string) (chosen, error) {
	if strings.Contains(text, ",") {
		at, err := placeFlag("choose", text)
		return chosen{at: at}, err
	}
	n, err := strconv.Atoi(strings.TrimSpace(text))
	if err != nil || n < 1 {
		return chosen{}, wrong("e.g. --choose 1, or --choose -60,0,-20", "--choose %q: a rank, or a place X,Y,Z in millimetres", text)
	}
	return chosen{rank: n}, nil
}

func (c chosen) spot(ctx context.Context, found *evaluate.Findings, ranking *rank.Ranking) (*rank.Spot, []string, error) {
	if c.rank == 0 {
		return rank.SpotAt(ctx, found, c.at)
	}
	if c.rank > len(ranking.Spots) {
		return nil, nil, wrong("see: quietmount rank", "--choose %d: the ranking has %d spots", c.rank, len(ranking.Spots))
	}
	return &ranking.Spots[c.rank-1], nil, nil
}
