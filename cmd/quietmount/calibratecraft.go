package main

import (
	"fmt"
	"time"

	"github.com/urfave/cli/v2"

	"quietmount/report/answer"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/calibrate"
)

// heldAgainst is what a calibration of the finished craft is held against; nil
// without --on-craft. It is read before anything is turned.
func heldAgainst(c *cli.Context, sh shell, dir string, craft *survey.Craft) (*promise, error) {
	if c.Bool("on-craft") {
		return openPromise(c, sh, dir, craft)
	}
	for _, name := range []string{"loose", "spot"} {
		if c.IsSet(name) {
			return nil, wrong("add --on-craft", "--%s belongs to the calibration of a finished craft", name)
		}
	}
	return nil, nil
}

// storeCalibration keeps what was accepted and, on the finished craft, holds it
// against the promise.
func storeCalibration(in answer.CalibrateInput, held *promise, dir string, craft *survey.Craft, samples []survey.Sample, now time.Time) (answer.CalibrateInput, error) {
	store, use := calibrate.Store, "quietmount survey %s --calibration %s"
	if held != nil {
		store, use = calibrate.StoreOnCraft, "quietmount swing %s --calibration %s"
	}
	stored, file, err := store(dir, craft, in.Result, samples, in.ReferenceUT, in.Source, version(), now, words.Terminal.Say)
	if err != nil {
		return in, err
	}
	in.ID, in.File, in.Use = stored.ID, file, fmt.Sprintf(use, words.Quote(dir), stored.ID)
	if held == nil {
		return in, nil
	}
	p, kept, err := held.compare(&stored)
	in.OnCraft, in.Promise, in.Kept = true, &p, kept
	return in, err
}
