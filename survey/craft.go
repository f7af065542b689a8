package survey

import (
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/plane"
	"quietmount/magmath/remark"
)

// ReachMM bounds every coordinate of a craft, millimetres from the datum: 100 m.
const ReachMM = 100_000

// PlaceSlackMM is the distance, millimetres, beyond which a place in a file differs from
// the craft's own.
const PlaceSlackMM = 1

// Craft is everything that the builder wrote down about the craft, checked. All
// places are in the craft frame (x forward, y right, z down,
// millimetres from the builder's datum).
type Craft struct {
	Name     string
	Site     Site
	Module   Module  // what will be mounted
	Probe    *Module // what measures; nil: the module itself
	Body     Body
	Heights  []float64 // mm above the surface at which the module may stand; at least one
	Grid     *Grid     // nil: only single stations
	Singles  []Station // [[station]]
	Base     *Station  // nil: no base station
	Keepouts []Keepout
	Loads    []Load
	Parts    []Part
	Cable    *Cable   // nil: no cable limit
	Balance  *Balance // nil: no balance limit
	Limits   Limits
	Remarks  []remark.Remark // what is odd in the file but not wrong: topic "craft"
	SHA256   string          // of the file's bytes, hex
}

// Module is a GPS/compass unit or a probe.
type Module struct {
	Name           string
	MassG          float64
	RangeUT        float64       // full scale of one axis; 0: not stated
	CableMM        float64       // 0: not stated
	FootprintMM    r2.Vec        // along x, along y
	SensorHeightMM float64       // sensor above the surface the case stands on
	SensorOffsetMM r2.Vec        // sensor from the middle of the footprint
	Axes           *magmath.Mat3 // craft vector = Axes * sensor vector; nil: not known
}

// Body is the craft's shape.
type Body struct {
	OutlineMM     plane.Polygon
	SurfaceZMM    float64
	SurfacePoints []r3.Vec // a curved surface, interpolated; may be empty
	Fitted        []string // what is fitted, confirmed at each run
}

// Grid lays stations at its nodes inside or on the outline.
type Grid struct {
	SpacingMM float64
	OriginMM  r2.Vec
}

// Station is a marked point. At is the surface under the probe's foot.
type Station struct {
	Name string
	At   r3.Vec
}

// Keepout is an area in which nothing may be mounted.
type Keepout struct {
	Name      string
	OutlineMM plane.Polygon
}

// LoadKind distinguishes a current from a moving part.
type LoadKind string

// The kinds of load.
const (
	LoadCurrent LoadKind = "current"
	LoadMoving  LoadKind = "moving"
)

// Load is something that can be switched or moved and so shifts the field.
type Load struct {
	Name         string
	Kind         LoadKind
	MaxCurrentA  float64  // 0 for a moving load
	TogetherWith []string // as written; Craft.Together reads it both ways
	Reverses     bool     // its current can flow in both directions
}

// Part is a part of the craft: a point (AtMM) or a lead (PathMM).
type Part struct {
	Name        string
	AtMM        *r3.Vec
	MassG       float64
	SlideMM     *[2]float64 // x range it can be moved to
	ClearanceMM float64     // the module's edge stays this far away
	WarmsK      float64     // by how much a magnet of a load warms while the load runs, kelvin; default 40, 0 for any other part
	Magnetic    bool

	PathMM       []r3.Vec // a lead's route
	Load         string   // the load whose current the lead carries
	GapMM        float64  // between the two conductors; 0: twisted or side by side
	ReturnPathMM []r3.Vec // where the return runs elsewhere
}

// Cable limits where the module's lead reaches.
type Cable struct {
	FromMM  r2.Vec
	ViaMM   []r2.Vec
	SlackMM float64
}

// Balance is the allowed range of the finished craft's centre of gravity. A
// direction that the file leaves out is -Inf to +Inf.
type Balance struct {
	CGXMM, CGYMM [2]float64
}

// Limits are the builder's budgets.
type Limits struct {
	HeadingErrorDeg float64 // of the shifting part; default 5
	SteadyUT        float64 // default 100
	TiltDeg         float64 // heading errors are for a craft that leans up to this; default 10
	TiltAssumed     bool    // the craft file does not state TiltDeg
	SlipMM          float64 // and for a module set down up to this far from the place that was meant; default 3
}

// MeasuringModule returns the unit that measures: the probe if there is one, else the
// module.
func (c *Craft) MeasuringModule() Module {
	if c.Probe != nil {
		return *c.Probe
	}
	return c.Module
}

// SensorAt returns the place of m's sensor, craft frame, mm, with the middle of
// m's foot heightMM above the surface point at and its arrow to the nose.
func (m Module) SensorAt(at r3.Vec, heightMM float64) r3.Vec {
	return r3.Vec{
		X: at.X + m.SensorOffsetMM.X,
		Y: at.Y + m.SensorOffsetMM.Y,
		Z: at.Z - m.SensorHeightMM - heightMM,
	}
}
