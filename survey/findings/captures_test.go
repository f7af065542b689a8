package findings

import (
	"slices"
	"testing"
	"time"

	"quietmount/survey"
)

func TestTimesWhateverTheClock(t *testing.T) {
	capture := func(from float64, at time.Duration) survey.Capture {
		return survey.Capture{Time: day.Add(at), Samples: []survey.Sample{{TS: from}, {TS: from + 2}}}
	}
	r := &survey.Run{Header: survey.Header{Started: day}}
	for _, c := range []struct {
		name string
		caps []survey.Capture
		want []float64
	}{
		{"one clock", []survey.Capture{capture(0, 0), capture(30, 0), capture(70, 0)}, []float64{1, 31, 71}},
		{"anew, time of day", []survey.Capture{capture(0, 5*time.Second), capture(0, time.Minute), capture(0, 2*time.Minute)}, []float64{5, 60, 120}},
		{"anew, no time of day", []survey.Capture{capture(0, 0), capture(0, 0), capture(0, 0)}, []float64{0, 20, 40}},
		{"nothing", nil, []float64{}},
	} {
		t.Run(c.name, func(t *testing.T) {
			if got := times(r, c.caps); !slices.Equal(got, c.want) {
				t.Errorf("%v, want %v", got, c.want)
			}
		})
	}
}
