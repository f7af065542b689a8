package findings

import (
	"math/rand/v2"
	"testing"

	"quietmount/survey"
)

// The idle noise of a current meter switches nothing; a load's current does,
// whatever its sign.
func TestSwitchedByCurrent(t *testing.T) {
	capture := func(onA float64) survey.Capture {
		rng := rand.New(rand.NewPCG(4, 4))
		var c survey.Capture
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
		if switched(capture(onA)) != want {
			t.Errorf("%g A: switched %v, want %v", onA, !want, want)
		}
	}
}
