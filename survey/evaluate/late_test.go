package evaluate

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/logbook"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// A slow hand on a quick rhythm: the difference is the whole field, not a part
// of it, for the load is off before the first prompt as well as after it.
func TestLateSwitchingTakesNothingOff(t *testing.T) {
	w := walktest.Sandpiper(t, 1)
	for _, lag := range []float64{0.15, 0.4, 0.6} {
		p, h := walktest.Still(w)
		h.LagS, h.LagSDS = lag, 0.08
		l := w.Craft.Loads[0]
		run := trial.Captures(w, p, h, trial.RunOptions{
			State: l.Name, CurrentA: l.MaxCurrentA, Pulsed: true, Rhythm: logbook.Rhythm{Pulses: 6, OnS: 1.5, OffS: 1.5, DropS: 0.5},
			Stations: w.Craft.Stations(), BaseEvery: -1, Started: walktest.Day, Seed: 5,
		})
		some, _ := difference(t.Context(), run, 0)
		found, there := 0.0, 0.0
		for _, r := range some {
			if r.Off {
				continue
			}
			truth := w.LoadField(l.Name, l.MaxCurrentA, w.Craft.MeasuringModule().SensorAt(r.Capture.At, 0))
			found, there = found+r3.Dot(r.B, truth), there+r3.Norm2(truth)
		}
		if ratio := found / there; math.Abs(ratio-1) > 1e-3 {
			t.Errorf("a lag of %g s: %.4f of the field is found", lag, ratio)
		}
	}
}
