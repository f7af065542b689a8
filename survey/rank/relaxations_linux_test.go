package rank

import (
	"testing"

	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/sim"
	"quietmount/survey/sim/walktest"
)

// BenchmarkRelaxations measures what the costs of the constraints take beside a
// ranking of 6,000 candidates, in seconds of processor time.
func BenchmarkRelaxations(b *testing.B) {
	w := walktest.Sandpiper(b, 1)
	runs := walktest.Walks(w, sim.DefaultProbe(), sim.DefaultHand(), 1, true)
	r := newRanker(b.Context(), evaluatetest.Evaluate(b, w.Craft, runs), Options{StepMM: 6.4, Next: -1}.withDefaults())
	r.screen()
	r.choose()
	used := processorS(b)
	for b.Loop() {
		r.relaxations()
	}
	b.ReportMetric((processorS(b)-used)/float64(b.N), "cpu-s/op")
	b.ReportMetric(float64(len(r.cands)), "candidates")
}
