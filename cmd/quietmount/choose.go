package main

import (
	"path/filepath"
	"strconv"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/report/filing"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
)

// choose writes the chosen spot into the folder.
func choose(sh shell, dir string, what chosen, found *evaluate.Findings, ranking *rank.Ranking) error {
	spot, broken, err := what.spot(found, ranking)
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

// chosen is what --choose asks for: a rank, or a place by hand.
type chosen struct {
	rank int // 0: by hand
	at   r3.Vec
}

// readChosen reads the flag, so that a slip is told before anything is
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

func (c chosen) spot(found *evaluate.Findings, ranking *rank.Ranking) (*rank.Spot, []string, error) {
	if c.rank == 0 {
		return rank.SpotAt(found, c.at)
	}
	if c.rank > len(ranking.Spots) {
		return nil, nil, wrong("see: quietmount rank", "--choose %d: the ranking has %d spots", c.rank, len(ranking.Spots))
	}
	return &ranking.Spots[c.rank-1], nil, nil
}
