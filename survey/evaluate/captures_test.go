package evaluate

import (
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/sim/walktest"
)

func TestTimesWhateverTheClock(t *testing.T) {
	capture := func(from float64, at time.Duration) logbook.Capture {
		return logbook.Capture{Time: walktest.Day.Add(at), Samples: []survey.Sample{{TS: from}, {TS: from + 2}}}
	}
	r := &logbook.Run{Header: logbook.Header{Started: walktest.Day}}
	for _, c := range []struct {
		name string
		caps []logbook.Capture
		want []float64
	}{
		{"one clock", []logbook.Capture{capture(0, 0), capture(30, 0), capture(70, 0)}, []float64{1, 31, 71}},
		{"anew, time of day", []logbook.Capture{capture(0, 5*time.Second), capture(0, time.Minute), capture(0, 2*time.Minute)}, []float64{5, 60, 120}},
		{"anew, no time of day", []logbook.Capture{capture(0, 0), capture(0, 0), capture(0, 0)}, []float64{0, 20, 40}},
		{"nothing", nil, []float64{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := times(r, c.caps); !slices.Equal(got, c.want) {
				t.Errorf("%v, want %v", got, c.want)
			}
		})
	}
}

func TestCorrectionAndAxesReachTheCraftFrame(t *testing.T) {
	// Sensor x looks left, y forward, z down; offset (1, 2, 3), gain 2 on x.
	axes := magmath.Mat3{{0, 1, 0}, {-1, 0, 0}, {0, 0, 1}}
	f := survey.NewFrame(&axes, &survey.Correction{OffsetUT: [3]float64{1, 2, 3}, Matrix: magmath.Diagonal(2, 1, 1)})
	if got, want := f.Field(r3.Vec{X: 11, Y: 22, Z: 33}), (r3.Vec{X: 20, Y: -20, Z: 30}); got != want {
		t.Errorf("%v, want %v", got, want)
	}
}
