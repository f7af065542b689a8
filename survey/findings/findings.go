// Package findings turns a craft and its runs into answers: what every
// station and every place in between does to a compass. It joins survey (what
// was measured) to magmath (the numbers) and draws nothing.
package findings

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/geomag"
	"quietmount/magmath/heading"
	"quietmount/survey"
)

// Basis says what the steady part rests on.
type Basis string

// The bases.
const (
	BasisVector    Basis = "vector"    // disturbance vectors against a measured background
	BasisMagnitude Basis = "magnitude" // no background: magnitudes against the reference field
)

// Estimate is a vector quantity in the craft frame with its covariance,
// microtesla and microtesla squared.
type Estimate struct {
	Mean r3.Vec
	Cov  magmath.Mat3
}

// StationFinding is what is known of one station. Pointers are nil where
// nothing was measured.
type StationFinding struct {
	Station             survey.Station
	Sensor              r3.Vec // where the probe's sensor was
	Steady              *Estimate
	Shifting            *Estimate           // the worst combination, scaled to maximum currents
	Combination         []string            // the loads of that combination
	Loads               map[string]Estimate // each load alone, scaled to its maximum current
	MagnitudeDifference *float64            // |B| unpowered less the reference F, microtesla
	SteadyError         *heading.Error
	ShiftingError       *heading.Error
	Captures            int
	Repeats             int
}

// LeftOut is the leave-one-out check of the map for one part.
type LeftOut struct {
	RMSEUT           float64 // root mean square error a component, measurement noise included
	Inside95Fraction float64 // of the left-out vectors' components inside their 95 % interval
	Stations         int
}

// Findings is everything that follows from the chosen runs.
type Findings struct {
	Craft     *survey.Craft
	Runs      []*survey.Run // those that count, in order
	Date      string        // YYYY-MM-DD used for the reference field
	Reference geomag.Elements
	HUT       float64 // horizontal reference field, microtesla
	Basis     Basis
	Stations  []StationFinding
	Base      *StationFinding
	LeftOut   map[string]LeftOut // keys "steady", "shifting"
	Factor    float64            // largest factor by which a measured current was extrapolated; 1: none
	Notes     []string           // cautions that go with every answer, plain sentences
	Map       *Map               // nil: nothing to interpolate
}

// Map predicts the parts anywhere. Places are of the sensor, craft frame, mm.
type Map struct {
	// Steady predicts the steady disturbance; nil where no vectors were measured.
	Steady Field
	// Loads predicts each load's field at its maximum current.
	Loads map[string]Field
	// Combinations are the sets of loads that can be on together.
	Combinations [][]string
}

// Field is an interpolated vector field with its uncertainty.
type Field interface {
	// At is the posterior mean and covariance at p (craft frame, mm): microtesla, microtesla squared.
	At(p r3.Vec) (r3.Vec, magmath.Mat3)
}

// Spot is a place where the module could be mounted.
type Spot struct {
	Rank                 int
	At                   r3.Vec // surface under the middle of the foot
	HeightMM             float64
	NearestStation       string
	Shifting             heading.Error
	Steady               heading.Error
	SteadyUT             heading.Quantiles
	PlacementToleranceMM float64
	NotToldFromBest      bool
	CableMM              float64 // NaN: no cable described
	CGXMM, CGYMM         float64 // NaN: no masses described
	ExtrapolationFactor  float64
	WorstCombination     []string
	Interpolated         bool // farther than half the spacing from every station: measure here
	WithinBudget         bool
}

// Ranking is the ordered list of spots.
type Ranking struct {
	Spots        []Spot
	Excluded     map[string]float64 // constraint: fraction of the outline's area it took
	NextStations []NextStation
	Qualified    bool   // at least one spot is within the budget
	Why          string // if not: which constraint is in the way
}

// NextStation is a place where measuring next helps the ranking most.
type NextStation struct {
	At  r3.Vec
	Why string
}
