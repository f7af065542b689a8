// Package calibrate takes readings while a hand turns the probe through all
// directions, fits its calibration and stores it. In come items of a link and the
// craft; out go what of the sphere is covered so far, a calib.Result and a stored
// logbook.Calibration. It has no clock but that of the readings. Start at For and
// Turn.Take.
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

// The limits of a turn and its usual values.
const (
	LeastS, MostS = 3, 3600
	UsualS        = 120
	UsualCovered  = 0.75
	mostSamples   = 1 << 20 // an hour of a fast probe
)

// Turn is a turn under way. The strength of the field and the axes may be set in
// Progress before the first reading.
type Turn struct {
	Progress calib.Progress
	Samples  []survey.Sample
	ForS     float64 // the turn is over after so many seconds of readings
	Enough   float64 // or when this share of the sphere was shown, 0 to 1
}

// For returns a turn of what measures on a craft.
func For(craft *survey.Craft, now time.Time, forS, enough float64) *Turn {
	o := Options(craft, now)
	return &Turn{Progress: calib.Progress{ReferenceUT: o.ReferenceUT, Axes: o.Axes}, ForS: forS, Enough: enough}
}

// Add adds a reading in sensor axes.
func (t *Turn) Add(s survey.Sample) {
	t.Samples = append(t.Samples, s)
	t.Progress.Add(s.B)
}

// Seconds returns the time of the readings so far.
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
// ends; none of these is an error. face gets every item, after its reading was
// added. The end of ctx and the errors of the source are errors; the readings so
// far stay in Samples. stopped may be nil.
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

// Taken is an accepted calibration with what it was made from.
type Taken struct {
	Result      calib.Result
	Samples     []survey.Sample
	ReferenceUT float64
	OnCraft     bool                       // the module is mounted and the whole craft was turned
	Source      string                     // file or port that the readings came from
	Tool        string                     // version that writes it
	Words       func(remark.Remark) string // of the remarks that the file keeps as text
}

// Store keeps the calibration of what measures on a craft, or of the mounted
// module, in the folder of the craft. It returns the calibration with its ID and
// the name of its file; the errors are those of logbook.Calibration.Save.
func (t Taken) Store(folder string, craft *survey.Craft, now time.Time) (logbook.Calibration, string, error) {
	c := logbook.NewCalibration(t.Result, t.Samples, t.Words)
	c.Created, c.Tool, c.Source, c.ReferenceUT = now, t.Tool, t.Source, new(t.ReferenceUT)
	c.Craft, c.Probe, c.OnCraft = craft.Name, craft.MeasuringModule().Name, t.OnCraft
	if t.OnCraft {
		c.Probe = craft.Module.Name
	}
	return c.Save(folder)
}
