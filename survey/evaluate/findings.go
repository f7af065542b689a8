// Package evaluate turns a craft and its runs into the field at the stations
// and between them, the steady part and each load's, with uncertainties, and
// into the heading errors of a compass there.
//
// Evaluate takes a survey.Craft and runs of the logbook. Their raw samples are
// calibrated and turned into the craft frame (x forward, y right, z down); the
// means shown during the walk are not used. Room, drift, craft and loads are
// solved together (package room), then mapped (package fieldmap). Out go
// [Findings]: stations, maps, rooms, drift, loads, the check of the map, and
// notes. Fields are microtesla, places millimetres, currents amperes, angles
// degrees.
//
// A run or a capture that cannot be used is left out and named in a note; an
// error means that there are no findings at all.
//
// Start reading at [Evaluate], then [Findings].
package evaluate

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/geomag"
	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// Basis is the kind of measurement behind the steady part.
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

// StationFinding is the result at one station, craft frame. A nil pointer means
// not measured.
type StationFinding struct {
	Station             survey.Station
	Sensor              r3.Vec // where the probe's sensor was
	Steady              *Estimate
	Shifting            *Estimate           // the worst combination, scaled to maximum currents
	Combination         []string            // the loads of that combination
	Reversed            []string            // those of them whose current is reversed in it
	Loads               map[string]Estimate // each load alone, scaled to its maximum current
	MagnitudeDifference *float64            // |B| unpowered less the reference F, microtesla
	SteadyError         *heading.Error
	ShiftingError       *heading.Error
	Captures            int
	Repeats             int

	// The steady part split in two, if runs with different directions of the
	// nose separate them; Induced is the part with the nose at InducedAtDeg.
	Permanent, Induced *Estimate
	InducedAtDeg       float64

	MissingLoads []string // measured elsewhere but not here: Shifting lacks them
	Saturated    bool     // a capture here reached the probe's full scale and was left out
	Against      Against  // what MagnitudeDifference was taken against

	Readings []LoadReading // how the loads' fields grow with their currents
}

// Against names the field from which a magnitude difference was taken.
type Against string

// The fields that a magnitude can be compared with.
const (
	AgainstBackground Against = "background" // the room's own field at the station
	AgainstReference  Against = "reference"  // the reference field's F
)

// DriftCurve is the estimated drift of one run: an offset and a walk.
type DriftCurve struct {
	Run    int // number of the run
	TS     []float64
	B      []r3.Vec  // microtesla, craft frame
	SDUT   []float64 // standard uncertainty, root mean square over the components
	Return *BaseReturn
}

// BaseReturn is the misclosure of a run: its last capture of the base station
// less its first.
type BaseReturn struct {
	ChangeUT r3.Vec
	SDUT     float64 // expected from pose and noise alone, root mean square over the components
}

// RoomFinding is one set-up: a session with the nose in one direction.
type RoomFinding struct {
	Session     string
	NoseDeg     *float64
	Runs        []int
	Backgrounds int          // captures without the craft
	FieldUT     *r3.Vec      // of the room at the middle of the captures; nil without background
	Gradient    magmath.Mat3 // microtesla per mm
	MisfitP     float64      // of the chi-square test for a smooth room; NaN where nothing was tested
	Untested    error        // why the test could not be made; nil also if there was nothing to test
}

// LoadFinding is how a load was measured.
type LoadFinding struct {
	Name       string
	Measured   bool
	CurrentSD  float64 // relative standard uncertainty of its current, common to all places; 0: moving
	CurrentA   float64 // the largest at which it was measured; 0: not stated or moving
	Factor     float64 // maximum current over CurrentA; 1 where nothing was extrapolated
	Pulsed     bool
	Substitute bool
	Stations   int
	LackOfFitP float64 // of the test that its field grows in proportion to its current; 1: seen at one current only
}

// LeftOut is the leave-one-out check of the map for one part.
type LeftOut struct {
	RMSEUT           float64 // root mean square error a component, measurement noise included
	Inside95Fraction float64 // of the left-out vectors' components inside their 95 % interval
	Stations         int
}

// Findings is the result of Evaluate.
type Findings struct {
	Craft        *survey.Craft
	Runs         []*logbook.Run // those that count, in order
	Proofs       []*logbook.Run // captures at a chosen spot; not used for any other field, so that they prove them independently
	FailedProofs []*logbook.Run // of proofs that failed: their captures are readings at the spot, among Runs
	Date         string         // YYYY-MM-DD used for the reference field
	Reference    geomag.Elements
	HUT          float64 // horizontal reference field, microtesla
	Model        string  // name of the reference model
	// YearsOutside is by how many years Date lies outside that model's term; the
	// uncertainty of H grows with it.
	YearsOutside float64
	Basis        Basis
	Stations     []StationFinding
	Base         *StationFinding
	LeftOut      map[string]LeftOut // keys "steady", "shifting"
	Rooms        []RoomFinding
	Drift        []DriftCurve
	Turning      *Turning        // what turning the bench told of the steady part; nil: no vectors of it
	Loads        []LoadFinding   // one for each load of the craft file, in its order
	PoseDeg      float64         // attitude scatter of the hand, as estimated
	PlaceMM      float64         // placement scatter of the hand, as estimated
	Factor       float64         // largest factor by which a measured current was extrapolated; 1: none
	Notes        []remark.Remark // cautions that go with every answer
	Map          *Map            // nil: nothing to interpolate

	from *evaluation // what they were computed with; nil: made by hand
}

// Map predicts the parts anywhere. Places are of the sensor, craft frame, mm.
type Map struct {
	// Steady predicts the steady disturbance; nil where no vectors were measured.
	Steady Field
	// Loads predicts each load's field at its maximum current.
	Loads map[string]Field
	// Combinations are the sets of loads that can be on together.
	Combinations [][]string
	// Kernels names the covariance assumed for each part's field; keys are
	// PartSteady and the names of loads.
	Kernels map[string]string

	SourceModels map[string]*SourceModel // by state: the fitted sources behind its map; nil: none
}

// Field is an interpolated vector field with its uncertainty.
type Field = fieldmap.Field

// CurrentSD returns the relative standard uncertainty of the current at which a load
// was measured; 0 for a moving part, and for a load that was not measured.
func (f *Findings) CurrentSD(load string) float64 {
	for _, l := range f.Loads {
		if l.Name == load && l.Measured {
			return l.CurrentSD
		}
	}
	return 0
}

// SteadyBudgetUT returns the field, microtesla, at which a steady source alone
// reaches the builder's limit.
func (f *Findings) SteadyBudgetUT() float64 { return f.Craft.Limits.SteadyUT }

// HSDUT returns the standard uncertainty of H, microtesla.
func (f *Findings) HSDUT() float64 {
	return geomag.UncertaintyBeyond(f.Reference, f.YearsOutside).H / 1000
}

// ShiftingBudgetUT returns H sin(budget), microtesla: the field of a shifting
// source that alone reaches the heading budget.
func (f *Findings) ShiftingBudgetUT() float64 {
	return f.HUT * math.Sin(min(90, f.Craft.Limits.HeadingErrorDeg)*math.Pi/180)
}
