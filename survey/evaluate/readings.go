package evaluate

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/room"
	"quietmount/survey"
)

// LoadReading is the field of a load at a station from one capture, less the
// estimated room, drift and unpowered craft.
type LoadReading struct {
	Load     string
	CurrentA float64 // while on, negative where the polarity was reversed; 0: off
	B        r3.Vec  // microtesla, craft frame
	Cov      magmath.Mat3
	Pulsed   bool // on less off within one dwell
	Run      int  // number of the run
	Capture  int
}

// loadReadings are the captures of a station that say how the fields of its
// loads grow with their currents, those with the load off among them where the
// line needs them: a pulsed one holds its own. Loads that move, and those whose
// current nobody stated, have none.
func (e *evaluation) loadReadings(station int) []LoadReading {
	var out []LoadReading
	for l, load := range e.f.Craft.Loads {
		est, ok := e.result.Load(station, l)
		if !ok || !e.determined(station, l) || load.Kind != survey.LoadCurrent || !(load.MaxCurrentA > 0) {
			continue
		}
		walked := e.walkedWith(station, l)
		for i, o := range e.of(station) {
			off := o.Load == room.NoLoad && !o.Pulsed && walked
			if !o.Craft || o.Load != l && !off {
				continue
			}
			if r, ok := e.loadReading(i, l, est.Mean); ok {
				out = append(out, r)
			}
		}
	}
	return out
}

// walkedWith reports whether a load was on at a station in a run of its own, not
// pulsed.
func (e *evaluation) walkedWith(station, load int) bool {
	for _, o := range e.of(station) {
		if o.Craft && o.Load == load && !o.Pulsed {
			return true
		}
	}
	return false
}

// loadReading is what the model leaves of a capture, put on what it says of
// the load; false where the current is not known.
func (e *evaluation) loadReading(obs, load int, unit r3.Vec) (LoadReading, bool) {
	o, rd := &e.obs[obs], &e.readings[e.from[obs]]
	amps := 0.0
	if o.Load == load {
		a, ok := e.current(rd.run)
		if !ok {
			return LoadReading{}, false
		}
		amps = a
	}
	rest, _ := e.result.Residual(obs)
	if math.IsNaN(rest.X + rest.Y + rest.Z) {
		return LoadReading{}, false
	}
	return LoadReading{
		Load: e.f.Craft.Loads[load].Name, CurrentA: amps,
		B: r3.Add(rest, r3.Scale(amps/e.f.Craft.Loads[load].MaxCurrentA, unit)), Cov: o.Noise(e.result.Hyper),
		Pulsed: o.Pulsed, Run: rd.run.Header.Run, Capture: rd.Capture.Number,
	}, true
}
