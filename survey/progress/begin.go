package progress

import (
	"fmt"
	"strings"

	"quietmount/survey"
)

// Minutes of what stands before the walks: common practice, no source.
const (
	minutesCalibrate = 3
	minutesAxes      = 2
)

// calibrate is the step of the probe by itself. Walks that were taken without a
// calibration are not taken again for it.
func (f Folder) calibrate(at string, walked bool) Step {
	step := Step{
		Name: "calibrate the probe, away from the craft", Command: "quietmount calibrate" + at + " --port PORT",
		Minutes: minutesCalibrate, Detail: "not yet",
	}
	switch n := len(f.Loose); {
	case n > 0:
		step.Done, step.Detail = true, "calibration "+f.Loose[n-1]
	case walked:
		step.Done, step.Detail = true, "passed over: the walks were begun without"
	}
	return step
}

// axes is the step that finds which way the probe's axes point.
func (f Folder) axes(at string, walked bool) Step {
	probe, flag := f.Craft.Measures(), ""
	if f.Craft.Probe != nil {
		flag = " --probe"
	}
	if n := len(f.Loose); n > 0 {
		flag += " --calibration " + f.Loose[n-1]
	}
	step := Step{
		Name: "find which way the probe's axes point", Command: "quietmount arrow" + at + " --quick --store" + flag + " --port PORT",
		Minutes: minutesAxes, Detail: "not stated yet: nose north, nose east, nose down",
	}
	switch {
	case probe.Axes != nil:
		step.Done, step.Detail = true, "x, y, z: "+strings.Trim(survey.FormatAxes(*probe.Axes), "[]")
	case walked:
		step.Done, step.Detail = true, "passed over: the walks were begun without"
	}
	return step
}

// choose is done when a spot is kept, or when a record was written without one.
func (f Folder) choose(at string, measured bool) Step {
	step := Step{
		Name: "see the map and choose a spot", Done: f.Choice != nil || measured && f.Recorded, Minutes: minutesAnswers,
		Command: "quietmount rank" + at, Detail: yesNo(measured, "everything is measured; keep one with --choose N", "after the walks"),
	}
	if f.Choice != nil {
		s := f.Choice.Spot
		step.Detail = fmt.Sprintf("chosen: x %.0f, y %.0f mm, near %s", s.XMM, s.YMM, s.NearestStation)
	}
	return step
}
