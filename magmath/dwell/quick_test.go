package dwell

import (
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// A rhythm quicker than the span of lags sought must not be read a phase
// late, which turns the step round.
func TestTimingOfAQuickRhythm(t *testing.T) {
	for seed := range uint64(20) {
		h := newHand(seed)
		h.pulses = 4
		c := h.prompted(r3.Vec{X: 1, Y: -4, Z: 2})
		c.Prompts = append([]Edge{{TS: 0}}, c.Prompts...) // the prompts begin with off
		const quicker = 0.4                               // 1.2 s on, 1.2 s off
		for i := range c.TS {
			c.TS[i] *= quicker
		}
		for i := range c.Prompts {
			c.Prompts[i].TS *= quicker
		}
		o := DefaultPulseOptions()
		o.OnS, o.OffS, o.DropS = 1.2, 1.2, 0.3
		lag, err := Timing([]PulsedSeries{c}, o)
		if err != nil {
			t.Fatal(err)
		}
		if lag.MeanS < 0 || lag.MeanS > 0.4 {
			t.Errorf("seed %d: lag %.2f s, the hand's is %.2f", seed, lag.MeanS, quicker*h.lag)
		}
		est, err := Pulse(c, lag, o)
		if err != nil || est.Diff.Y > -3 {
			t.Errorf("seed %d: step %v, %v", seed, est.Diff, err)
		}
	}
}

// Whole microteslas are a step, though the first place shows no change at all.
func TestFloorOfWholeMicroteslas(t *testing.T) {
	var f Floor
	for i := range 200 {
		b := r3.Vec{X: 18, Y: 3, Z: 46}
		if i > 100 && i%3 == 0 {
			b.X++
		}
		f.Add(float64(i)/50, b)
	}
	if sd, ok := f.SD(); !ok || sd.X < 0.5 {
		t.Errorf("floor %v, %v: readings go in steps of 1", sd, ok)
	}
}
