package rank

import (
	"math"
	"slices"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
)

// why returns what keeps every spot from qualifying and what relaxing it gains.
func (r *ranker) why(picked []int) []remark.Remark {
	if len(picked) == 0 {
		return append([]remark.Remark{remark.New("rank.no_place")}, r.relaxed()...)
	}
	var out []remark.Remark
	s, limits := r.scores[picked[0]], r.f.Craft.Limits
	if !s.SteadyOK {
		out = append(out, remark.New("rank.all_over_steady", remark.Values{"limit_ut": limits.SteadyUT, "least_ut": s.SteadyUT.Upper95}))
	} else {
		out = append(out, remark.New("rank.all_over_budget", remark.Values{"budget_deg": limits.HeadingErrorDeg, "least_deg": s.Shifting.Upper95}))
		if s.Shifting.Estimate <= limits.HeadingErrorDeg {
			out = append(out, remark.New("rank.estimate_within", remark.Values{"estimate_deg": s.Shifting.Estimate}))
		}
	}
	out = append(out, r.relaxed()...)
	if mm := r.higher(); mm > 0 {
		out = append(out, remark.New("rank.more_height", remark.Values{"by_mm": mm}))
	}
	return out
}

// relaxed returns remarks on every constraint without which some place would
// qualify.
func (r *ranker) relaxed() []remark.Remark {
	best := make([]int, len(r.limits))
	for k := range best {
		best[k] = -1
	}
	short := math.Inf(1)
	var near []int
	for i, c := range r.cands {
		if len(c.Broken) == 1 && r.s.fits(r.verdicts[i]) {
			near = append(near, i)
		}
	}
	r.scoreFit(near)
	for _, i := range near {
		c := r.cands[i]
		k := c.Broken[0]
		if best[k] < 0 || r.cost[i] < r.cost[best[k]] {
			best[k] = i
		}
		if r.limits[k].Name.Kind == kindCable {
			short = min(short, r.shortBy(c.Place))
		}
	}
	var out []remark.Remark
	for k, i := range best {
		name := r.limits[k].Name
		switch {
		case i < 0 || name.Kind == kindSaturated || name.Kind == kindLead:
		case name.Kind == kindCable:
			out = append(out, remark.New("rank.longer_lead", remark.Values{"by_mm": math.Ceil(short)}))
		default:
			c := r.cands[i]
			out = append(out, remark.New("rank.without_constraint", remark.Values{"constraint": name.String(), "x_mm": c.At.X, "y_mm": c.At.Y}))
		}
	}
	return out
}

// The steps in which more height is tried, and the most.
const (
	moreHeightStepMM = 20
	moreHeightMostMM = 120
)

// higher returns how much more height would make a place qualify, mm; 0 if none
// that is tried does.
func (r *ranker) higher() float64 {
	top := 0.0
	for _, h := range r.f.Craft.Heights {
		top = max(top, h)
	}
	var base []siting.Place
	seen := map[int]bool{}
	for _, i := range r.free {
		if n := r.cands[i].Node; !seen[n] {
			seen[n] = true
			if len(seen)%3 == 0 {
				base = append(base, r.cands[i].Place)
			}
		}
	}
	for more := float64(moreHeightStepMM); more <= moreHeightMostMM; more += moreHeightStepMM {
		for k := range base {
			base[k].HeightMM = top + more
		}
		if slices.ContainsFunc(r.s.judge(base), r.s.fits) {
			return more
		}
	}
	return 0
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
