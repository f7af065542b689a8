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

// heldAgainst returns the promise that a calibration of the finished craft is
// compared with; nil without --on-craft. It is read before anything is turned.
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

// storeCalibration stores an accepted calibration and compares that of the
// finished craft with the promise.
func storeCalibration(in answer.CalibrateInput, held *promise, dir string, craft *survey.Craft, samples []survey.Sample, now time.Time) (answer.CalibrateInput, error) {
	use := "quietmount survey %s --calibration %s"
	if held != nil {
		use = "quietmount swing %s --calibration %s"
	}
	taken := calibrate.Taken{
		Result: in.Result, Samples: samples, ReferenceUT: in.ReferenceUT, OnCraft: held != nil, Source: in.Source, Tool: version(), Words: words.Terminal.Say,
	}
	stored, file, err := taken.Store(dir, craft, now)
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
