package main

import (
	"errors"
	"fmt"

	"github.com/urfave/cli/v2"

	deviation "quietmount/magmath/swing"
	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/swing"
)

// promise is what a calibration of the finished craft is compared with: the map's
// promise for a place, and the calibration of the loose module.
type promise struct {
	found *evaluate.Findings
	at    rank.Mount
	loose *logbook.Calibration
}

// openPromise reads --loose, by default the newest calibration of the loose
// module, and --spot, by default the chosen spot.
func openPromise(c *cli.Context, sh shell, dir string, craft *survey.Craft) (*promise, error) {
	loose, err := looseCalibration(c, dir, craft)
	if err != nil {
		return nil, err
	}
	found, err := evaluateFolder(c.Context, dir, "", sh)
	if err != nil {
		return nil, err
	}
	if found.Map == nil || found.Map.Steady == nil {
		return nil, withHint(swing.ErrNoPromise, "without a promise, leave --on-craft out")
	}
	at, err := promisedPlace(c, sh, dir, found)
	return &promise{found, at, loose}, err
}

func looseCalibration(c *cli.Context, dir string, craft *survey.Craft) (*logbook.Calibration, error) {
	if id := c.String("loose"); id != "" {
		return logbook.LoadCalibration(dir, id)
	}
	loose, err := logbook.NewestCalibration(dir, craft.Module.Name, false)
	if err == nil && loose == nil {
		err = withHint(fmt.Errorf("no calibration of the loose %s is stored in %s: its own offset cannot be told from the craft's", craft.Module.Name, dir),
			"calibrate the module away from the craft: quietmount calibrate %s; or name one: --loose ID", words.Quote(dir))
	}
	return loose, err
}

// compare compares a calibration of the finished craft with the promise.
func (p *promise) compare(onCraft *logbook.Calibration) (deviation.SteadyPromise, deviation.Kept, error) {
	if onCraft.ID == p.loose.ID {
		return deviation.SteadyPromise{}, deviation.Kept{}, wrong("--loose is the module by itself", "calibration %s cannot be both on the craft and loose", onCraft.ID)
	}
	return swing.PromiseAt(p.found, p.at, onCraft, p.loose)
}

// promise compares the map's promise for a spot with a stored calibration of the
// finished craft, that of --on-craft or the newest.
func (f *finish) promise(c *cli.Context, a *answer.Swing) error {
	if f.craft == nil {
		return wrong("init writes a craft file", "the promise of a map needs the craft: there is no craft file in %s", f.dir)
	}
	onCraft, err := f.calibrationOnCraft(c)
	if err != nil {
		return err
	}
	p, err := openPromise(c, f.sh, f.dir, f.craft)
	if err != nil {
		return err
	}
	held, kept, err := p.compare(onCraft)
	if err != nil {
		return err
	}
	a.Promised(held, kept)
	return nil
}

func (f *finish) calibrationOnCraft(c *cli.Context) (*logbook.Calibration, error) {
	if id := c.String("on-craft"); id != "" {
		return logbook.LoadCalibration(f.dir, id)
	}
	found, err := logbook.NewestCalibration(f.dir, f.craft.Module.Name, true)
	if err == nil && found == nil {
		err = wrong("take one: quietmount calibrate "+words.Quote(f.dir)+" --on-craft", "no calibration of the finished craft is stored: name one with --on-craft")
	}
	return found, err
}

// promisedPlace returns the place of --spot, else the chosen one.
func promisedPlace(c *cli.Context, sh shell, dir string, found *evaluate.Findings) (rank.Mount, error) {
	var none rank.Mount
	if !c.IsSet("spot") {
		choice, err := logbook.LoadChoice(dir)
		if errors.Is(err, logbook.ErrNoChoice) {
			return none, wrong("see: quietmount rank; keep one: quietmount rank --choose N", "--on-craft wants --spot N: no spot is chosen")
		}
		if err != nil {
			return none, err
		}
		return rank.ChosenMount(choice), nil
	}
	n := c.Int("spot")
	ranking, err := ranked(c.Context, sh, found, rank.Options{Most: max(10, n), Next: -1})
	if err != nil {
		return none, err
	}
	at, err := ranking.Mount(n)
	if err != nil {
		return none, wrong("see: quietmount rank", "--spot %d: %v", n, err)
	}
	return at, nil
}
