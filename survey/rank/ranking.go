package rank

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/gate"
)

// Spot is a place where the module could be mounted, and the heading errors,
// degrees, of a compass there, as mounted: on a craft that leans, set down by a
// hand that slips. Steady values are NaN if no vectors were measured.
type Spot struct {
	Rank                 int    // from 1; 0: given by hand
	At                   r3.Vec // surface under the middle of the foot, craft frame, mm
	HeightMM             float64
	NearestStation       string
	FromMarks            []survey.FromMark // where At lies from the marks of the craft
	Shifting             heading.Error
	Level                heading.Error // Shifting on a level craft at the exact place
	Expected             float64       // expectation of the shifting error, degrees, 30 at most counted: the spots are in its order; NaN without loads
	Steady               heading.Error
	SteadyUT             heading.Quantiles
	PlacementToleranceMM float64 // within this distance, set down exactly, the bound stays in the limits
	NotToldFromBest      bool    // cannot be distinguished from the first spot: better than it with a probability over 5 %
	CableMM              float64 // NaN: no cable described
	CGXMM, CGYMM         float64 // NaN: no masses described
	ExtrapolationFactor  float64 // from measured to maximum currents
	WorstCombination     []string
	WorstReversed        []string // the loads of it whose current is reversed
	Interpolated         bool     // farther than half the spacing from every station: measure here
	BoundWithin          bool     // the bound is within the budget
	WithinBudget         bool     // the bound is within the budget, and the tolerance no smaller than the slip of the hand
	WithinSteady         bool     // the steady part stays under the builder's limit and in the module's range
}

// Ranking is the ordered list of spots.
type Ranking struct {
	Spots        []Spot
	Excluded     map[siting.ConstraintName]float64 // constraint: fraction of the outline's area that it excludes
	NextStations []NextStation
	Qualified    bool            // at least one spot is within the budget, and no check failed
	Checks       []gate.Check    // of the survey behind it
	Relaxations  []Relaxation    // what each constraint costs
	Why          []remark.Remark // what keeps all spots from qualifying
	Notes        []remark.Remark
	ByShifting   bool // ranked by the shifting error; false: no load was measured, ranked by the steady part
	Candidates   int  // places that were judged
}

// Foremost returns the first spot that keeps all limits, the first of all where none
// does; nil without spots. The spots are in the order of what is to be expected of
// them, and the bound of the first need not be the least.
func (r *Ranking) Foremost() *Spot {
	if len(r.Spots) == 0 {
		return nil
	}
	return &r.Spots[max(0, slices.IndexFunc(r.Spots, func(s Spot) bool { return s.WithinBudget && s.WithinSteady }))]
}

// NextStation is a place where measuring next helps the ranking most.
type NextStation struct {
	At  r3.Vec
	Why remark.Remark
}
