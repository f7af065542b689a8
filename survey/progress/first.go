package progress

import (
	"strings"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/remark"
	"quietmount/survey"
)

// Minutes of what stands before the walks: common practice, no source.
const (
	minutesCalibrate = 3
	minutesAxes      = 2
)

// calibrated returns the detail of a step whose calibration is stored.
func calibrated(id string) remark.Remark {
	return remark.New("progress.calibrated", remark.Values{"calibration": id})
}

// calibrate returns the step of the probe by itself. Walks that were taken
// without a calibration are not taken again for it.
func (f Folder) calibrate(walked bool) Step {
	step := Step{Kind: Calibrate, Minutes: minutesCalibrate, Detail: remark.New("progress.not-yet")}
	switch n := len(f.Loose); {
	case n > 0:
		step.Done, step.Detail = true, calibrated(f.Loose[n-1])
	case walked:
		step.Done, step.Detail = true, remark.New("progress.passed-over")
	}
	return step
}

// axes returns the step that finds which way the probe's axes point.
func (f Folder) axes(walked bool) Step {
	step := Step{Kind: Axes, Minutes: minutesAxes, Probe: f.Craft.Probe != nil, Detail: remark.New("progress.axes-unknown")}
	if n := len(f.Loose); n > 0 {
		step.Calibration = f.Loose[n-1]
	}
	switch axes := f.Craft.MeasuringModule().Axes; {
	case axes != nil:
		step.Done, step.Detail = true, remark.New("progress.axes", remark.Values{"axes": strings.Trim(survey.FormatAxes(*axes), "[]")})
	case walked:
		step.Done, step.Detail = true, remark.New("progress.passed-over")
	}
	return step
}

// choose is done when a spot is kept.
func (f Folder) choose(measured bool) Step {
	step := Step{Kind: Choose, Done: f.Choice != nil, Minutes: minutesAnswers}
	switch {
	case f.Choice != nil:
		s := f.Choice.Spot
		step.Detail = remark.New("progress.chosen", remark.Values{
			"x_mm": s.XMM, "y_mm": s.YMM, "near": s.NearestStation, "height_mm": s.HeightMM,
			"from_marks": f.Craft.FromMarks(r2.Vec{X: s.XMM, Y: s.YMM}),
		})
	case measured:
		step.Detail = remark.New("progress.measured")
	default:
		step.Detail = remark.New("progress.after-walks")
	}
	return step
}
