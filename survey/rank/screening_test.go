package rank

import (
	"math"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/simtest"
	"quietmount/magmath/siting"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/sim/builtcraft"
	"quietmount/survey/sim/trial"
)

// Scoring in two stages against brute force, the full score of every candidate: the
// same first spot, or one whose expected error is as good within 0.05 degree.
func TestTwoStagesFindWhatBruteForceFinds(t *testing.T) {
	compared := 0
	for seed := range uint64(simtest.Trials(2, 12)) {
		built := builtcraft.New(700+seed, builtcraft.Kinds()[seed%2])
		all := []*evaluate.Findings{evaluatetest.Evaluate(t, built.Craft, built.Surveys())}
		lawful, err := trial.Random(700+seed, trial.Families()[seed%2], true)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, evaluatetest.Evaluate(t, lawful.World.Craft, evaluatetest.TrialRuns(lawful, true)))
		for k, f := range all {
			r := newRanker(t.Context(), f, Options{Next: -1, StepMM: 5}.withDefaults())
			r.screen()
			allowed := slices.DeleteFunc(slices.Clone(r.free), func(i int) bool { return !r.verdicts[i].steadyOK })
			if len(allowed) == 0 || !r.s.byShifting() {
				continue
			}
			apart := max(f.Craft.Module.FootprintMM.X, f.Craft.Module.FootprintMM.Y, r.spacing)
			some := r.promising(slices.Clone(allowed), apart)
			got, gotAt := r.firstOf(allowed, some, apart)
			want, wantAt := r.firstOf(allowed, allowed, apart)
			t.Logf("seed %d.%d: %d of %d candidates scored in full, %.4f degrees; by brute force %.4f", seed, k, len(some), len(allowed), got, want)
			if !(got-want <= 0.05) {
				t.Errorf("%v has %.3f degrees, %v by brute force %.3f, %.0f mm away", gotAt, got, wantAt, want, r2.Norm(r2.Sub(gotAt.At, wantAt.At)))
			}
			if len(some) < len(allowed) {
				compared++
			}
		}
	}
	if compared == 0 {
		t.Error("no craft has more candidates than are scored in full")
	}
}

// firstOf returns the expected error and the place of the first spot where some of the
// allowed candidates are scored in full. It leaves the ranker as it was.
func (r *ranker) firstOf(allowed, some []int, apart float64) (float64, siting.Place) {
	q := *r
	q.cands, q.scores, q.cost = slices.Clone(r.cands), make([]score, len(r.cands)), make([]float64, len(r.cands))
	for i := range q.cost {
		q.cost[i] = math.NaN()
	}
	q.scoreFit(some)
	picked := siting.Optima(q.grid, q.cands, allowed, q.cost, apart, fillSpots, q.o.Most)
	q.refine(picked)
	return q.scores[picked[0]].Expected, q.cands[picked[0]].Place
}
