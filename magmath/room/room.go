// Package room subtracts the field of the room from the readings. Solve takes
// all captures of a set of runs, with the craft and without it, loads on or off,
// and returns the joint posterior of what the unpowered craft and each load add
// at each station, with the room's field and the drift. Start reading there.
//
// It solves one generalised least-squares problem with priors (Gaussian
// conditioning), whose unknowns are
//
//   - the room: a uniform field and a harmonic gradient (five free elements of
//     a symmetric traceless matrix) for each room;
//   - drift: an offset for each run and a random walk in time within it;
//   - at each station, what the unpowered craft adds and what each load adds at
//     its unit level: free vectors with wide priors, but a narrow prior at the
//     base station, where the sensor reads the craft too;
//   - at each station, the roughness: the departure from the smooth room there.
//
// No term is dropped after a test. The scales of pose, place, drift and roughness
// maximise the posterior density given all captures, and every estimate keeps its
// covariance.
//
// Vectors are in the craft frame, millimetres and microtesla. Readings must be
// finite; Solve refuses others. The model is y = H x + e with x ~ N(0, P) and
// e ~ N(0, R); the information matrix is A = H^T R^-1 H + P^-1.
// Source: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine
// Learning (2006), section 2.1 and eq. 5.8, for the posterior and the
// marginal likelihood of a linear Gaussian model.
package room

import (
	"errors"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// NoLoad is the Load of an observation with every load off.
const NoLoad = -1

// Errors that callers distinguish.
var (
	ErrEmpty     = errors.New("no captures: measure at least one station")
	ErrNotFinite = errors.New("a capture holds a value that is not finite")
)

// Observation is one capture.
type Observation struct {
	B        r3.Vec       // mean vector; the difference on minus off when Pulsed
	Cov      magmath.Mat3 // of B from the sensor alone: neither pose nor place
	Gradient magmath.Mat3 // element i,j: change of B_i per mm along j; zero where not known
	At       r3.Vec       // place of the sensor
	Room     int          // which room (set-up) this was measured in
	Run      int          // which run: drift is shared within it
	TS       float64      // seconds on the run's own clock
	Station  int          // index into the stations given to Solve
	Craft    bool         // the craft was in place
	Load     int          // the load that was on, or NoLoad
	Level    float64      // how far on, in units of the level to which answers are scaled
	Pulsed   bool         // B is a difference within the dwell: room, drift and craft cancel
}

// Station is the prior of what the craft adds at a station.
type Station struct {
	PriorUT float64 // standard deviation a component; 0: wide (WidePriorUT)
}

// WidePriorUT is the prior standard deviation of an unknown that the data alone
// determine. It is far above any reading, and above the uncertainty of a
// misplaced probe beside a magnet.
const WidePriorUT = 1e4

// Hyper are the scales of the errors of a capture, all positive.
type Hyper struct {
	PoseDeg    float64 // of the probe's attitude at each visit, each axis
	PlaceMM    float64 // of the probe's place at each visit, each axis
	WalkUT     float64 // drift in one minute, a component
	RoughUT    float64 // of the room about its smooth model, a component
	OffsetUT   float64 // of a run's offset, a component; not estimated
	GradientUT float64 // prior of the room's gradient per 100 mm, an element; not estimated
}

// Defaults returns the priors' centres: a hand of 1.5 degrees and 2 mm, a drift
// of 0.1 uT in a minute, a room smooth to 0.2 uT, runs 1 uT apart, a gradient
// of 1 uT per 100 mm. Common practice, no source.
func Defaults() Hyper {
	return Hyper{PoseDeg: 1.5, PlaceMM: 2, WalkUT: 0.1, RoughUT: 0.2, OffsetUT: 1, GradientUT: 1}
}

// Options are those of Solve. The zero value estimates the scales, starting from
// Defaults.
type Options struct {
	Hyper Hyper // prior centres; zero fields are taken from Defaults
	Fixed bool  // take Hyper as it is
	// OffsetUT overrides Hyper.OffsetUT for single runs, for instance where a
	// run borrows the background of another set-up.
	OffsetUT map[int]float64
}

func (o Options) hyper() Hyper {
	h, d := o.Hyper, Defaults()
	for _, f := range []struct {
		v *float64
		d float64
	}{
		{&h.PoseDeg, d.PoseDeg},
		{&h.PlaceMM, d.PlaceMM},
		{&h.WalkUT, d.WalkUT},
		{&h.RoughUT, d.RoughUT},
		{&h.OffsetUT, d.OffsetUT},
		{&h.GradientUT, d.GradientUT},
	} {
		if !(*f.v > 0) {
			*f.v = f.d
		}
	}
	return h
}
