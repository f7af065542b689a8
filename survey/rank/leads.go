package rank

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/evaluate"
)

// LeadReachMM is the distance from a lead within which nothing is predicted, if
// its gap is not larger: between and beside the conductors the field turns
// within millimetres, and a map interpolated between stations cannot follow it.
const LeadReachMM = 10

// nearLeads keep the sensor away from the described leads.
func (r *ranker) nearLeads() []siting.Constraint {
	var out []siting.Constraint
	for _, p := range r.f.Craft.Parts {
		if len(p.PathMM) < 2 {
			continue
		}
		out = append(out, siting.Constraint{Name: siting.ConstraintName{Kind: KindLead, Name: p.Name}, Allows: func(q siting.Place) bool {
			return leadMargin(p, r.s.sensors([]siting.Place{q})[0]) >= 0
		}})
	}
	return out
}

// LeadMarginMM returns how far a place of the sensor, craft frame, mm, is outside
// the reach of all leads (LeadReachMM); negative within, +Inf without leads.
func LeadMarginMM(c *survey.Craft, at r3.Vec) float64 {
	margin := math.Inf(1)
	for _, p := range c.Parts {
		margin = min(margin, leadMargin(p, at))
	}
	return margin
}

func leadMargin(p survey.Part, at r3.Vec) float64 {
	margin, reach := math.Inf(1), max(LeadReachMM, p.GapMM)
	for _, path := range [][]r3.Vec{p.PathMM, p.ReturnPathMM} {
		for i := 1; i < len(path); i++ {
			margin = min(margin, evaluate.SegmentDistance(path[i-1], path[i], at)-reach)
		}
	}
	return margin
}
