// Package calibrate takes readings while a hand turns the probe through all
// directions, for its calibration: what was shown so far, where to turn next,
// when it is enough, and the storing of what came of it. It shows nothing by
// itself and reads no clock but that of the readings.
package calibrate

import (
	"context"
	"errors"
	"io"
	"time"

	"quietmount/magmath/calib"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
)

// Limits of a turn, and what suits most.
const (
	LeastS, MostS = 3, 3600
	UsualS        = 120
	UsualCovered  = 0.75
	mostSamples   = 1 << 20 // an hour of a fast probe
)

// Turn is a turn under way. Progress may be given the strength of the field
// and the axes before the first reading.
type Turn struct {
	Progress calib.Progress
	Samples  []survey.Sample
	ForS     float64 // the turn is over after so many seconds of readings
	Enough   float64 // or when this share of the sphere was shown, 0 to 1
}

// For is a turn of what measures on a craft.
func For(craft *survey.Craft, now time.Time, forS, enough float64) *Turn {
	o := CalibrationOptions(craft, now)
	return &Turn{Progress: calib.Progress{ReferenceUT: o.ReferenceUT, Axes: o.Axes}, ForS: forS, Enough: enough}
}

// Add takes a reading in sensor axes.
func (t *Turn) Add(s survey.Sample) {
	t.Samples = append(t.Samples, s)
	t.Progress.Add(s.B)
}

// Seconds of the readings so far.
func (t *Turn) Seconds() float64 {
	if len(t.Samples) == 0 {
		return 0
	}
	return t.Samples[len(t.Samples)-1].TS - t.Samples[0].TS
}

// Done reports whether enough was shown or the time is over.
func (t *Turn) Done() bool {
	return t.Progress.Covered() >= t.Enough || len(t.Samples) > 0 && t.Seconds() >= t.ForS || len(t.Samples) >= mostSamples
}

// Take adds readings until the turn is done, stopped says so, or the source
// ends; all of these are no error. face is shown every item, after a reading
// was added. The end of ctx and what the source reports are errors; the
// readings so far stay in Samples. stopped may be nil.
func (t *Turn) Take(ctx context.Context, source link.Source, stopped func() bool, face func(link.Item)) error {
	for !t.Done() {
		if stopped != nil && stopped() {
			return nil
		}
		item, err := source.Next(ctx)
		switch {
		case errors.Is(err, io.EOF):
			return nil
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			return err
		}
		if item.Kind == link.Reading {
			t.Add(item.Sample)
		}
		face(item)
	}
	return nil
}

// Store keeps an accepted calibration of what measures in the folder of its
// craft. source is the file or port that the readings came from, tool the
// version that wrote it, say words what the calibration remarks. The errors are those of logbook.Calibration.Save.
func Store(folder string, craft *survey.Craft, r calib.Result, samples []survey.Sample, referenceUT float64, source, tool string, now time.Time, say func(remark.Remark) string) (logbook.Calibration, string, error) {
	return stored(craft, r, samples, referenceUT, source, tool, now, say).Save(folder)
}

// StoreOnCraft keeps an accepted calibration of the finished craft, its module
// mounted, as Store does.
func StoreOnCraft(folder string, craft *survey.Craft, r calib.Result, samples []survey.Sample, referenceUT float64, source, tool string, now time.Time, say func(remark.Remark) string) (logbook.Calibration, string, error) {
	c := stored(craft, r, samples, referenceUT, source, tool, now, say)
	c.OnCraft, c.Probe = true, craft.Module.Name
	return c.Save(folder)
}

func stored(craft *survey.Craft, r calib.Result, samples []survey.Sample, referenceUT float64, source, tool string, now time.Time, say func(remark.Remark) string) logbook.Calibration {
	c := logbook.NewCalibration(r, samples, say)
	c.Created, c.Tool, c.Source = now, tool, source
	c.Craft, c.Probe = craft.Name, craft.Measures().Name
	c.ReferenceUT = new(referenceUT)
	return c
}
