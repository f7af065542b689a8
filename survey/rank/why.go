package rank

import (
	"cmp"
	"slices"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
)

// why returns what keeps every spot from qualifying, and the relaxations that would
// make a place qualify.
func (r *ranker) why(picked []int) []remark.Remark {
	out := r.reasons(picked)
	for i := range r.out.Relaxations {
		if x := &r.out.Relaxations[i]; x.Gains && x.Least.Qualifies {
			out = append(out, x.Says)
			x.inWhy = true
		}
	}
	return out
}

func (r *ranker) reasons(picked []int) []remark.Remark {
	if len(picked) == 0 {
		return []remark.Remark{remark.New("rank.no_place")}
	}
	s, limits := r.scores[picked[0]], r.f.Craft.Limits
	if !s.SteadyOK {
		return []remark.Remark{remark.New("rank.all_over_steady", remark.Values{"limit_ut": limits.SteadyUT, "least_ut": s.SteadyUT.Upper95})}
	}
	least := slices.MinFunc(r.out.Spots, func(a, b Spot) int { return cmp.Compare(a.Shifting.Upper95, b.Shifting.Upper95) })
	if least.BoundWithin {
		return []remark.Remark{r.noRoom()}
	}
	out := []remark.Remark{remark.New("rank.all_over_budget", remark.Values{"budget_deg": limits.HeadingErrorDeg, "least_deg": least.Shifting.Upper95})}
	if least.Shifting.Estimate <= limits.HeadingErrorDeg {
		out = append(out, remark.New("rank.estimate_within", remark.Values{"estimate_deg": least.Shifting.Estimate}))
	}
	return out
}

// noRoom says that the bound of some spots is within the budget, but at none within
// the slip of the hand around it.
func (r *ranker) noRoom() remark.Remark {
	most := 0.0
	for _, s := range r.out.Spots {
		if s.BoundWithin {
			most = max(most, s.PlacementToleranceMM)
		}
	}
	limits := r.f.Craft.Limits
	return remark.New("rank.no_room_to_slip", remark.Values{"budget_deg": limits.HeadingErrorDeg, "slip_mm": limits.SlipMM, "tolerance_mm": most})
}

// sparseShare is the share of the budget by which the bound of the best spot may
// exceed its estimate.
const sparseShare = 0.5

// bestError returns the shifting error of the first spot; zero without one.
func (r *ranker) bestError() heading.Error {
	if len(r.out.Spots) == 0 || !r.s.byShifting() {
		return heading.Error{}
	}
	return r.out.Spots[0].Shifting
}

// notes adds the cautions that go with the ranking.
func (r *ranker) notes() {
	add := func(yes bool, note remark.Remark) {
		if yes {
			r.out.Notes = append(r.out.Notes, note)
		}
	}
	limits, steady := r.f.Craft.Limits, r.f.Map.Steady != nil
	add(!r.s.byShifting(), remark.New("rank.no_load"))
	add(!steady, remark.New("rank.no_background"))
	add(steady && limits.SteadyUT <= 0 && r.f.Craft.Module.RangeUT <= 0, remark.New("rank.no_limit"))
	for _, l := range r.f.Loads {
		add(!l.Measured && r.s.byShifting(), remark.New("rank.load_unmeasured").At(remark.Place{Load: l.Name}))
	}
	e := r.bestError()
	over := e.Upper95 - e.Estimate
	add(over > sparseShare*limits.HeadingErrorDeg, remark.New("rank.sparse", remark.Values{"over_deg": over}))
	n := len(r.f.Stations)
	add(n < 6, remark.New("rank.few_stations", remark.Values{"stations": n}))
}
