package dwell

import (
	"fmt"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
)

// BenchmarkGrowth shows how the work grows with the number of samples, up to
// a logger that ran all day: a plain dwell, a pulsed one of three seconds on
// and three off, and the detector of rest. Time per sample should stay about
// the same from line to line; the memory is a few copies of the samples.
func BenchmarkGrowth(b *testing.B) {
	for _, n := range []int{1000, 10_000, 100_000, 1_000_000, 3_000_000} {
		run := func(name string, f func() error) {
			b.Run(fmt.Sprintf("%s/n=%d", name, n), func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					if err := f(); err != nil {
						b.Fatal(err)
					}
				}
				b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(n), "ns/sample")
			})
		}
		s := newAR1(60, 0.6).still(n, 50, somewhere, 0.2)
		run("Locate", func() error { return second(Locate(b.Context(), s, Options{})) })
		run("Changed", func() error { Changed(s, Options{}); return nil })
		run("Rest", func() error {
			r := NewRest()
			for i, t := range s.TS {
				r.Add(t, s.B[i])
			}
			return nil
		})
		h := newHand(61)
		h.pulses = max(4, n/int(6*h.rateHz))
		c := h.capture(loud)
		run("Pulse", func() error { return second(Pulse(b.Context(), c, Lag{Source: FromLabels}, DefaultPulseOptions())) })
		c.Label = nil
		run("Timing", func() error { return second(Timing(b.Context(), []PulsedSeries{c}, DefaultPulseOptions())) })
		for i, t := range c.TS {
			c.CurrentA = append(c.CurrentA, 0.01*r3.Norm(c.B[i])+float64(int(t/3)%2))
		}
		run("LabelsFromCurrent", func() error { LabelsFromCurrent(c.CurrentA); return nil })
	}
}
