package rank

import (
	"testing"

	"quietmount/survey/evaluate/evaluatetest"
)

// BenchmarkScore6000 measures, in seconds of processor time, what choosing among
// about six thousand candidates costs, as mounted: judging them all, scoring those
// that are promising, and the spots. A full score of every one stands beside it.
func BenchmarkScore6000(b *testing.B) {
	_, _, f := evaluatetest.Catamaran(b, 1)
	o := Options{StepMM: 3, Next: -1}.withDefaults()
	lay := newRanker(b.Context(), f, o)
	lay.screen()
	b.Run("rank", func(b *testing.B) {
		used := processorS(b)
		for b.Loop() {
			if _, err := Rank(b.Context(), f, o); err != nil {
				b.Fatal(err)
			}
		}
		b.ReportMetric((processorS(b)-used)/float64(b.N), "cpu-s/op")
		b.ReportMetric(float64(len(lay.cands)), "candidates")
	})
	b.Run("every one", func(b *testing.B) {
		places := lay.placesOf(indices(len(lay.cands)))
		used := processorS(b)
		for b.Loop() {
			lay.s.shiftingOf(places)
		}
		b.ReportMetric((processorS(b)-used)/float64(b.N), "cpu-s/op")
		b.ReportMetric(float64(len(lay.cands)), "candidates")
	})
}

func indices(n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = i
	}
	return out
}
