package evaluate

import (
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/room"
	"quietmount/survey"
)

// PartSteady is the name of the steady part; a shifting part has the name of its
// load.
const PartSteady = "steady"

// Captured is a station with captures that determine one part of the field,
// before any map.
type Captured struct {
	survey.Station
	Sensor      r3.Vec       // where the probe's sensor was, craft frame, mm
	Disturbance bool         // true: a background was subtracted; false: the field includes the room's
	Miss        magmath.Mat3 // covariance that a miss of the mark by one millimetre, at every setting-down, gives its field, microtesla squared
	PlaceMM     float64      // standard deviation of the hand's misses, mm, along each axis

	key room.Key
}

// SamePlace reports whether stations of two surveys are the same: of equal name
// and at most half a millimetre apart.
func (c Captured) SamePlace(o Captured) bool {
	return c.Name == o.Name && r3.Norm(r3.Sub(c.At, o.At)) <= samePlaceMM
}

// Captured returns the stations with captures that determine a part (PartSteady
// or a load's name), without the base: those of the craft file in its order,
// then the others.
func (f *Findings) Captured(part string) []Captured {
	e, load := f.from, room.NoLoad
	if part != PartSteady {
		load = e.load(part)
	}
	order := map[string]int{}
	for i, s := range f.Craft.Stations() {
		order[s.Name] = i + 1
	}
	var out []Captured
	for i, p := range e.index.stations {
		if p.IsBase || !e.told(i, load) {
			continue
		}
		c := Captured{Station: p.Station, Sensor: p.Sensor, key: room.Key{Station: i, Load: load}}
		_, c.Disturbance = e.steadyAt(i)
		c.Miss, c.PlaceMM = e.miss(c.key), e.result.Hyper.PlaceMM
		out = append(out, c)
	}
	rank := func(c Captured) int {
		if n := order[c.Name]; n > 0 {
			return n
		}
		return len(order) + 1
	}
	slices.SortStableFunc(out, func(a, b Captured) int { return rank(a) - rank(b) })
	return out
}

// Joint returns the fields, craft frame, microtesla, of stations that Captured
// returned for one part, and their joint covariance, three rows a station. A
// load's field is that at its maximum current; the covariance then includes the
// uncertainty of the current.
func (f *Findings) Joint(all []Captured) ([]r3.Vec, *mat.SymDense) {
	keys := make([]room.Key, len(all))
	for i, c := range all {
		keys[i] = c.key
	}
	mean, cov := f.from.result.Joint(keys)
	if len(keys) > 0 && keys[0].Load != room.NoLoad {
		addScaled(cov, mean, f.from.currentSD(keys[0].Load))
	}
	return mean, cov
}

// told reports whether the captures of a station say anything of an unknown.
func (e *evaluation) told(station, load int) bool {
	if load != room.NoLoad {
		return e.determined(station, load)
	}
	for _, o := range e.of(station) {
		if o.Craft && !o.Pulsed && o.Load == room.NoLoad {
			return true
		}
	}
	return false
}

// miss returns the covariance that a miss of the mark by one millimetre at every
// setting-down gives an unknown.
func (e *evaluation) miss(k room.Key) magmath.Mat3 {
	var sum magmath.Mat3
	n := 0.0
	for _, o := range e.of(k.Station) {
		if !o.Craft || o.Load != k.Load {
			continue
		}
		level := 1.0
		if k.Load != room.NoLoad && o.Level != 0 {
			level = o.Level
		}
		sum = sum.Add(room.PlaceCov(o.Gradient, 1/level))
		n++
	}
	return sum.Scale(1 / max(1, n*n))
}
