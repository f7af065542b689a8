package dwell

import (
	"context"
	"errors"
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// countdown is a context that is done once it was looked at so many times; it
// remembers when that was.
type countdown struct {
	context.Context
	left int
	at   time.Time
}

func (c *countdown) Err() error {
	if c.left--; c.left > 0 {
		return nil
	}
	if c.at.IsZero() {
		c.at = time.Now()
	}
	return context.Canceled
}

// A capture of a logger that ran all day takes many seconds; whoever stops
// waiting does not wait for it. Wherever in the work the context is done, a
// second later the function has returned; the bound is loose for a busy machine.
func TestACancelledContextEndsTheWork(t *testing.T) {
	const n = 1_000_000
	s := newAR1(60, 0.6).still(n, 50, somewhere, 0.2)
	h := newHand(61)
	h.pulses = n / int(6*h.rateHz)
	labelled := h.capture(loud)
	open := labelled
	open.Label = nil
	for _, work := range []struct {
		name string
		f    func(ctx context.Context) error
	}{
		{"Locate", func(ctx context.Context) error { return second(Locate(ctx, s, Options{})) }},
		{"Pulse", func(ctx context.Context) error {
			return second(Pulse(ctx, labelled, Lag{Source: FromLabels}, DefaultPulseOptions()))
		}},
		{"Timing", func(ctx context.Context) error {
			return second(Timing(ctx, []PulsedSeries{open}, DefaultPulseOptions()))
		}},
	} {
		t.Run(work.name, func(t *testing.T) {
			for _, looks := range []int{1, 5, 12} {
				ctx := &countdown{Context: t.Context(), left: looks}
				err := work.f(ctx)
				if !errors.Is(err, context.Canceled) {
					t.Errorf("after %d looks: %v", looks, err)
				} else if late := time.Since(ctx.at); late > 2*time.Second {
					t.Errorf("after %d looks it went on for %v", looks, late)
				}
			}
		})
	}
}

// A capture of which Usable has no complaint is one that Pulse takes, and the
// other way round, whatever its pulses are.
func TestUsableIsWhatPulseTakes(t *testing.T) {
	o := DefaultPulseOptions()
	taken := 0
	for seed := range uint64(40) {
		h := newHand(seed)
		h.pulses = int(seed % 7)
		c := h.capture(loud)
		if seed%2 == 1 {
			c.Label = nil
		}
		if seed%11 == 3 {
			c.B[len(c.B)/2] = r3.Vec{X: math.NaN()}
		}
		lag := Lag{MeanS: h.lag, SDS: h.jitter, Source: FromPrompts}
		want := second(Pulse(t.Context(), c, lag, o))
		if got := Usable(c, lag, o); (got == nil) != (want == nil) || got != nil && got.Error() != want.Error() {
			t.Errorf("seed %d: usable %v, pulse %v", seed, got, want)
		}
		if want == nil {
			taken++
		}
	}
	if taken < 5 || taken > 35 {
		t.Errorf("%d of 40 are taken: one of the two sides is not tried", taken)
	}
}
