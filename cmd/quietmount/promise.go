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

// promise puts what the map promised for a spot, that of --spot or the chosen
// one, beside what a calibration of the finished craft found.
func (f *finish) promise(c *cli.Context, answer *report.SwingAnswer) error {
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
	if found.Map == nil || found.Map.Steady == nil {
		return fmt.Errorf("the map promises nothing: no vectors of the steady part were measured; survey background and unpowered")
	}
	at, err := f.promisedPlace(c, found)
	if err != nil {
		return err
	}
	axes := magmath.Identity()
	if a := f.craft.Module.Axes; a != nil {
		axes = *a
	}
	mean, cov := found.Map.Steady.At(f.craft.Module.SensorAt(at.At, at.HeightMM))
	answer.Promised(swing.Promise(after, before, axes, mean, cov))
	return nil
}

// promisedPlace is the place of --spot, else the chosen one.
func (f *finish) promisedPlace(c *cli.Context, found *findings.Findings) (findings.Place, error) {
	var none findings.Place
	if !c.IsSet("spot") {
		choice, err := survey.Chosen(f.dir)
		if err != nil {
			return none, err
		}
		if choice == nil {
			return none, wrong("see: quietmount rank", "--on-craft wants --spot N: no spot is chosen")
		}
		return findings.ChosenPlace(choice), nil
	}
	n := c.Int("spot")
	ranking, err := found.Rank(findings.RankOptions{Most: max(10, n), Next: -1})
	if err != nil {
		return none, err
	}
	at, err := ranking.SpotPlace(n)
	if err != nil {
		return none, wrong("see: quietmount rank", "--spot %d: %v", n, err)
	}
	return at, nil
}
