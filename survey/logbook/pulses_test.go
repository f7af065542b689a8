package logbook

import (
	"math/rand/v2"
	"testing"

	"quietmount/magmath/dwell"
	"quietmount/survey"
)

// The idle noise of a current meter switches nothing; a load's current does,
// whatever its sign.
func TestSwitchedByCurrent(t *testing.T) {
	capture := func(onA float64) Capture {
		rng := rand.New(rand.NewPCG(4, 4))
		var c Capture
		for i := range 200 {
			s := survey.Sample{TS: float64(i) / 50, Has: survey.HasCurrent, CurrentA: 0.03 * rng.NormFloat64()}
			if i%50 >= 25 {
				s.CurrentA += onA
			}
			c.Samples = append(c.Samples, s)
		}
		return c
	}
	for onA, want := range map[float64]bool{0: false, 5: true, -5: true} {
		if c := capture(onA); c.Switched() != want {
			t.Errorf("%g A: switched %v, want %v", onA, !want, want)
		}
	}
}

// A reading that came without its current does not take the levels from all
// others.
func TestLevelsFromCurrentsOfWhichOneIsMissing(t *testing.T) {
	var c Capture
	for i := range 200 {
		s := survey.Sample{TS: float64(i) / 50, Has: survey.HasCurrent, CurrentA: float64(12 * (i / 50 % 2))}
		if i == 70 {
			s.Has = 0
		}
		c.Samples = append(c.Samples, s)
	}
	p := c.pulsedSeries(survey.Frame{})
	if p.CurrentA != nil || len(p.Label) != 200 {
		t.Fatalf("%d currents, %d labels", len(p.CurrentA), len(p.Label))
	}
	for i, want := range map[int]dwell.Level{10: dwell.Off, 69: dwell.On, 70: dwell.Unknown, 71: dwell.On, 120: dwell.Off} {
		if p.Label[i] != want {
			t.Errorf("reading %d: level %d, want %d", i, p.Label[i], want)
		}
	}
}
