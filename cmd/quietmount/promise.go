package main

import (
	"fmt"

	"github.com/urfave/cli/v2"

	"quietmount/magmath"
	"quietmount/report"
	"quietmount/survey"
	"quietmount/survey/findings"
	"quietmount/survey/swing"
)

// promise puts what the map promised for a spot beside what a calibration of
// the finished craft found.
func (f *finish) promise(c *cli.Context, n int, answer *report.SwingAnswer) error {
	onCraft, loose := c.String("on-craft"), c.String("loose")
	if onCraft == "" || loose == "" || f.craft == nil {
		return wrong("e.g. --spot 1 --on-craft 0002 --loose 0001", "--spot wants the calibrations to compare: --on-craft and --loose")
	}
	after, err := survey.LoadCalibration(f.dir, onCraft)
	if err != nil {
		return err
	}
	before, err := survey.LoadCalibration(f.dir, loose)
	if err != nil {
		return err
	}
	found, err := evaluateFolder(f.dir, "", f.sh)
	if err != nil {
		return err
	}
	ranking, err := found.Rank(findings.RankOptions{Most: n})
	if err != nil {
		return err
	}
	switch {
	case n < 1 || n > len(ranking.Spots):
		return wrong("see: quietmount rank", "--spot %d: the ranking has %d spots", n, len(ranking.Spots))
	case found.Map == nil || found.Map.Steady == nil:
		return fmt.Errorf("the map promises nothing: no vectors of the steady part were measured; survey background and unpowered")
	}
	spot := ranking.Spots[n-1]
	axes := magmath.Identity()
	if a := f.craft.Module.Axes; a != nil {
		axes = *a
	}
	mean, cov := found.Map.Steady.At(f.craft.Module.SensorAt(spot.At, spot.HeightMM))
	answer.Promised(swing.Promise(after, before, axes, mean, cov))
	return nil
}
