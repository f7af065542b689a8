package rank

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"quietmount/magmath/heading"
	"quietmount/magmath/siting"
	"quietmount/survey/evaluate"
)

// why says what keeps every spot from qualifying and what relaxing it buys.
func (r *ranker) why(picked []int) string {
	var parts []string
	if len(picked) == 0 {
		parts = append(parts, "no place is left on which the module could be mounted")
	} else {
		s := r.scores[picked[0]]
		switch {
		case !s.SteadyOK:
			parts = append(parts, fmt.Sprintf("every mountable place breaks the steady limit of %g uT or the module's range: the quietest has up to %.3g uT", r.f.Craft.Limits.SteadyUT, s.SteadyUT.Upper95))
		default:
			parts = append(parts, fmt.Sprintf("no mountable place keeps the shifting error under %g degrees: the best may reach %.3g degrees", r.f.Craft.Limits.HeadingErrorDeg, s.Shifting.Upper95))
			if s.Shifting.Estimate <= r.f.Craft.Limits.HeadingErrorDeg {
				parts = append(parts, fmt.Sprintf("its estimate is only %.3g degrees, so that more stations or more current on the bench may prove it", s.Shifting.Estimate))
			}
		}
	}
	parts = append(parts, r.relaxed()...)
	if h := r.higher(); h != "" && len(picked) > 0 {
		parts = append(parts, h)
	}
	return strings.Join(parts, "; ")
}

// relaxed names every constraint without which some place would qualify.
func (r *ranker) relaxed() []string {
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
		if r.limits[k].Name == "cable" {
			short = min(short, r.shortBy(c.Place))
		}
	}
	var out []string
	for k, i := range best {
		switch {
		case i < 0 || r.limits[k].Name == "saturated" || strings.HasPrefix(r.limits[k].Name, "lead "):
		case r.limits[k].Name == "cable":
			out = append(out, fmt.Sprintf("a lead %.0f mm longer would reach a place that qualifies", math.Ceil(short)))
		default:
			c := r.cands[i]
			out = append(out, fmt.Sprintf("without %q a place at x %.0f, y %.0f would qualify", r.limits[k].Name, c.At.X, c.At.Y))
		}
	}
	return out
}

// Steps in which more height is tried, and how far.
const (
	moreHeightStepMM = 20
	moreHeightMostMM = 120
)

// higher says how much more height would make a place qualify.
func (r *ranker) higher() string {
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
			return fmt.Sprintf("%.0f mm more height would make a place qualify, if the lead reaches", more)
		}
	}
	return ""
}

// sparseShare of the budget is how far the bound of the best spot may lie over
// its estimate.
const sparseShare = 0.5

// bestError is the shifting error of the first spot; none where there is none.
func (r *ranker) bestError() heading.Error {
	if len(r.out.Spots) == 0 || !r.s.ByShifting() {
		return heading.Error{}
	}
	return r.out.Spots[0].Shifting
}

// notes are the cautions that go with the ranking.
func (r *ranker) notes() {
	say := func(t string) { r.out.Notes = append(r.out.Notes, t) }
	if !r.s.ByShifting() {
		say("NO LOAD WAS MEASURED: the spots are ranked by the steady part alone, which a compass calibration can remove. What currents and moving parts do is unknown. Pulse each load before choosing.")
	}
	if r.f.Map.Steady == nil {
		say("No background was captured: the steady limit was not checked.")
	}
	if r.f.Map.Steady != nil && r.f.Craft.Limits.SteadyUT <= 0 && r.f.Craft.Module.RangeUT <= 0 {
		say("Neither a steady limit nor the module's range is stated: the steady part was not limited.")
	}
	for _, l := range r.f.Loads {
		if !l.Measured && r.s.ByShifting() {
			say(fmt.Sprintf("The load %q was not measured: it may make any spot worse.", l.Name))
		}
	}
	if e := r.bestError(); e.Upper95-e.Estimate > sparseShare*r.f.Craft.Limits.HeadingErrorDeg {
		say(fmt.Sprintf("The survey is too sparse for its disturbance: even at spot 1 the bound lies %.2g degrees over the estimate. Pulse the loads at the stations named next (survey --asked), with more current if it was scaled.", e.Upper95-e.Estimate))
	}
	if len(r.f.Stations) < 6 {
		say(fmt.Sprintf("Only %s measured: away from there the ranking rests on assumptions.", evaluate.StationsWere(len(r.f.Stations))))
	}
}
