package calibrate

import (
	"context"
	"math"
	"time"

	"quietmount/magmath/calib"
	"quietmount/survey"
)

// leastTiltDeg is the tilt that a calibration is made for if the craft file asks
// for less: a hand that walks the stations tips the probe that far, and
// near a magnet the field comes from elsewhere anyway. Common practice, no
// source.
const leastTiltDeg = 20

// Options returns the options that the craft file gives: the reference field at
// its site and date (now, if it states none), the axes and range of what measures,
// and the tilt of its limits. Without axes nobody knows how the field lies in the
// sensor, and every attitude counts.
func Options(c *survey.Craft, now time.Time) calib.Options {
	o := calib.DefaultOptions()
	e := c.Site.Field(now)
	measures := c.MeasuringModule()
	o.ReferenceUT, o.Scale = e.F/1000, calib.FromEither
	o.RangeUT, o.Axes = measures.RangeUT, measures.Axes
	o.TiltDeg = max(c.Limits.TiltDeg, leastTiltDeg)
	o.DipDeg = math.NaN()
	if o.Axes != nil {
		o.DipDeg = e.I
	}
	return o
}

// Fit fits a calibration to raw readings. The only error is that of ctx.
func Fit(ctx context.Context, samples []survey.Sample, o calib.Options) (calib.Result, error) {
	in := make([]calib.Sample, len(samples))
	for i, s := range samples {
		in[i] = calib.Sample{TS: s.TS, B: s.B}
	}
	return calib.Calibrate(ctx, in, o)
}
