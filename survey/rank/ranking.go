package rank

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
)

// Spot is a place where the module could be mounted, and the heading errors,
// degrees, of a compass there. Steady values are NaN if no vectors were
// measured.
type Spot struct {
	Rank                 int    // from 1; 0: given by hand
	At                   r3.Vec // surface under the middle of the foot, craft frame, mm
	HeightMM             float64
	NearestStation       string
	Shifting             heading.Error
	Steady               heading.Error
	SteadyUT             heading.Quantiles
	PlacementToleranceMM float64
	NotToldFromBest      bool    // cannot be distinguished from the first spot: better than it with a probability over 5 %
	CableMM              float64 // NaN: no cable described
	CGXMM, CGYMM         float64 // NaN: no masses described
	ExtrapolationFactor  float64 // from measured to maximum currents
	WorstCombination     []string
	Interpolated         bool // farther than half the spacing from every station: measure here
	WithinBudget         bool
	WithinSteady         bool // the steady part stays under the builder's limit and in the module's range
}

// Ranking is the ordered list of spots.
type Ranking struct {
	Spots        []Spot
	Excluded     map[siting.ConstraintName]float64 // constraint: fraction of the outline's area that it excludes
	NextStations []NextStation
	Qualified    bool            // at least one spot is within the budget
	Why          []remark.Remark // what keeps all spots from qualifying
	Notes        []remark.Remark
	ByShifting   bool // ranked by the shifting error; false: no load was measured, ranked by the steady part
	Candidates   int  // places that were judged
}

// NextStation is a place where measuring next helps the ranking most.
type NextStation struct {
	At  r3.Vec
	Why remark.Remark
}
