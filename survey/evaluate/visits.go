package evaluate

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/room"
)

// Visit is a capture of the whole field at a station, or the off level of a pulsed
// one, craft frame: what the checks of a survey compare. A capture at full scale is
// none.
type Visit struct {
	Run     int    // number of the run
	Capture int    // number of the capture within it
	Station string // its name
	At      int    // number of the place; captures of one place have the same
	Room    int    // number of the set-up, an index of Findings.Rooms
	TS      float64
	Base    bool    // at the base station
	Craft   bool    // with the craft in place
	Load    string  // that was on during the whole capture; empty: none
	PriorUT float64 // what the craft may add at the base station, standard deviation a component; 0: anything

	B        r3.Vec       // microtesla
	Cov      magmath.Mat3 // from the sensor alone: neither pose nor place
	Gradient magmath.Mat3 // element i,j: change of B_i per mm along j, as far as the hand misses along j
}

// Visits returns the visits in the order of runs and captures; none if the
// findings were made by hand.
func (f *Findings) Visits() []Visit {
	if f.from == nil {
		return nil
	}
	e := f.from
	priors := e.priors()
	var out []Visit
	for i, o := range e.obs {
		if o.Pulsed {
			continue
		}
		rd := &e.readings[e.from[i]]
		v := Visit{
			Run: rd.run.Header.Run, Capture: rd.Capture.Number, Station: rd.Capture.Station, At: o.Station, Room: o.Room, TS: o.TS,
			Base: e.index.stations[o.Station].IsBase, Craft: o.Craft, PriorUT: priors[o.Station].PriorUT,
			B: o.B, Cov: rd.Cov, Gradient: o.Gradient,
		}
		if o.Load != room.NoLoad {
			v.Load = f.Craft.Loads[o.Load].Name
		}
		out = append(out, v)
	}
	return out
}
