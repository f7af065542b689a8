package rank

import (
	"math"
	"slices"

	"quietmount/magmath/heading"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
)

// ChoiceOf returns a spot in the form in which it is stored, with its
// conditions. Runs hold numbers and states; the caller adds files, hashes, time,
// tool and cautions. broken lists the constraints that the place breaks, as
// SpotAt returns them.
func ChoiceOf(f *evaluate.Findings, s Spot, broken []string) *logbook.Choice {
	c := &logbook.Choice{
		ByHand: s.Rank == 0, Craft: f.Craft.Name, CraftSHA256: f.Craft.SHA256, Date: f.Date,
		BudgetDeg: f.Craft.Limits.HeadingErrorDeg, SteadyUT: f.Craft.Limits.SteadyUT,
		Obstacles: append([]string{}, broken...), Cautions: []string{}, Runs: []logbook.ChoiceRun{},
		Spot: logbook.ChosenSpot{
			Rank: s.Rank, XMM: s.At.X, YMM: s.At.Y, ZMM: s.At.Z, HeightMM: s.HeightMM, NearestStation: s.NearestStation,
			ShiftingDeg: bound(s.Shifting.Quantiles), SteadyDeg: bound(s.Steady.Quantiles), SteadyUT: bound(s.SteadyUT),
			PlacementToleranceMM: known(s.PlacementToleranceMM), NotToldFromBest: s.NotToldFromBest,
			CableMM: known(s.CableMM), CGXMM: known(s.CGXMM), CGYMM: known(s.CGYMM),
			ExtrapolationFactor: s.ExtrapolationFactor, WorstCombination: append([]string{}, s.WorstCombination...), WorstReversed: s.WorstReversed,
			Interpolated: s.Interpolated, WithinBudget: s.WithinBudget, WithinSteady: s.WithinSteady,
		},
	}
	for _, r := range f.Runs {
		c.Runs = append(c.Runs, logbook.ChoiceRun{Run: r.Header.Run, State: r.Header.State})
	}
	slices.SortStableFunc(c.Runs, func(a, b logbook.ChoiceRun) int { return a.Run - b.Run })
	return c
}

func bound(q heading.Quantiles) *heading.Quantiles {
	if v := q.Estimate + q.Upper95; math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &q
}

func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
