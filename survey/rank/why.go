package rank

import (
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
	out := []remark.Remark{remark.New("rank.all_over_budget", remark.Values{"budget_deg": limits.HeadingErrorDeg, "least_deg": s.Shifting.Upper95})}
	if s.Shifting.Estimate <= limits.HeadingErrorDeg {
		out = append(out, remark.New("rank.estimate_within", remark.Values{"estimate_deg": s.Shifting.Estimate}))
	}
	return out
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
