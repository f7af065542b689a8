package evaluate

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/room"
)

// maps are the fitted fields; nil where nothing was measured.
type maps struct {
	steady *fieldmap.Map
	loads  []*fieldmap.Map      // by number of the load
	on     map[int]*SourceModel // behind their source means, by number of the load or room.NoLoad; absent: none
}

// steadyAt is the steady disturbance of a station against a background; false
// where none was captured in any set-up in which the station was.
func (e *evaluation) steadyAt(station int) (Estimate, bool) {
	for _, o := range e.of(station) {
		if o.Craft && !o.Pulsed && e.background[o.Room] {
			r, ok := e.result.Craft(station)
			return Estimate{Mean: r.Mean, Cov: r.Cov}, ok
		}
	}
	return Estimate{}, false
}

// fitMaps interpolates each part between the stations on the craft. The base
// station stays out: it enters through the covariance that it shares. A draft
// tries one covariance only, good enough for gradients.
func (e *evaluation) fitMaps(ctx context.Context, draft bool) maps {
	m := maps{loads: make([]*fieldmap.Map, len(e.f.Craft.Loads)), on: map[int]*SourceModel{}}
	fit := func(load int, has func(int) bool) *fieldmap.Map {
		fitted, on := e.fitMap(ctx, load, draft, has)
		e.progress(0, 1)
		if fitted != nil && fitted.HasSourceMean() {
			m.on[load] = on
		}
		return fitted
	}
	m.steady = fit(room.NoLoad, func(s int) bool { _, ok := e.steadyAt(s); return ok })
	e.magnets = e.magneticPlaces(m.on[room.NoLoad])
	for l := range e.f.Craft.Loads {
		m.loads[l] = fit(l, func(s int) bool { _, ok := e.loadAt(s, l); return ok })
	}
	return m
}

// fitMap returns the map of one part, nil where nothing was measured, and the
// fitted sources of its source mean, if it has one.
func (e *evaluation) fitMap(ctx context.Context, load int, draft bool, has func(int) bool) (*fieldmap.Map, *SourceModel) {
	var keys []room.Key
	var at []r3.Vec
	for s, p := range e.index.stations {
		if !p.IsBase && has(s) {
			keys = append(keys, room.Key{Station: s, Load: load})
			at = append(at, p.Sensor)
		}
	}
	if len(keys) == 0 {
		return nil, nil
	}
	mean, cov := e.result.Joint(keys)
	e.addSharedCovariance(keys, cov)
	data := magmath.Readings{At: at, B: mean, Noise: cov}
	cs := e.candidates(data, load, draft)
	var on *SourceModel
	if !draft {
		cs, on = e.withSourceMean(ctx, cs, data, load)
	}
	fitted, err := fieldmap.Fit(ctx, data, cs)
	if err != nil {
		return nil, nil
	}
	return fitted, on
}

// candidates returns the covariances to try. The named parts go with the first
// harmonic one and with the looser ones; a draft takes the harmonic one.
func (e *evaluation) candidates(data magmath.Readings, load int, draft bool) []fieldmap.Candidate {
	cs, named := fieldmap.Candidates(data, e.spacing, e.lowestZ()), e.named(load)
	if draft {
		all := fieldmap.WithSources(cs[1:2], named)
		return all[len(all)-1:]
	}
	if len(named) == 0 {
		return cs
	}
	smooth, one, two, mixed, curlFree := cs[0], cs[1], cs[2], cs[3], cs[4]
	with := fieldmap.WithSources([]fieldmap.Candidate{smooth, one, mixed}, named)
	return append([]fieldmap.Candidate{smooth, one, two, curlFree}, with[3:]...)
}

// lowestZ returns the lowest height of the sensor, craft frame, at which the field
// may be asked for.
func (e *evaluation) lowestZ() float64 {
	c := e.f.Craft
	z := c.Module.SensorAt(r3.Vec{Z: c.Body.SurfaceZMM}, 0).Z
	for _, p := range c.Body.SurfacePoints {
		z = max(z, c.Module.SensorAt(p, 0).Z)
	}
	for _, p := range e.index.stations {
		if !p.IsBase {
			z = max(z, c.Module.SensorAt(p.At, 0).Z, p.Sensor.Z)
		}
	}
	return z
}

// leftOutOf returns the leave-one-out check of some maps together.
func leftOutOf(all ...*fieldmap.Map) (LeftOut, bool) {
	var sum, inside float64
	n, stations := 0.0, 0
	for _, m := range all {
		if m == nil || m.Stations() < 2 {
			continue
		}
		l := m.LeaveOneOut()
		k := float64(m.Stations())
		sum += k * l.RMSEUT * l.RMSEUT
		inside += k * l.Inside95Fraction
		n += k
		stations = max(stations, m.Stations())
	}
	if n == 0 {
		return LeftOut{}, false
	}
	return LeftOut{RMSEUT: math.Sqrt(sum / n), Inside95Fraction: inside / n, Stations: stations}, true
}
