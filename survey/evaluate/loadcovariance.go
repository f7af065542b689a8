package evaluate

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/room"
)

// Loads that were walked are each taken against the same unpowered captures,
// so that what is uncertain in those is common to their fields and counts
// twice over where they are on together. The fields are carried on as
// independent, each widened by half of what it shares with every load that can
// be on with it: the variance of a sum is then right, that of one alone a
// little large. Pulsed differences share nothing.

// sharedCovariance returns that widening for a load at a station.
func (e *evaluation) sharedCovariance(station, load int) magmath.Mat3 {
	var m magmath.Mat3
	for other := range e.f.Craft.Loads {
		if !e.together(load, other) || !e.walked[load] || !e.walked[other] || !e.determined(station, load) || !e.determined(station, other) {
			continue
		}
		_, cov := e.result.Joint([]room.Key{{Station: station, Load: load}, {Station: station, Load: other}})
		across := magmath.Block(cov, 0, 3)
		m = m.Add(across.Add(across.Transpose()).Scale(0.5))
	}
	return m
}

// together reports whether two different loads can be on at the same time.
func (e *evaluation) together(a, b int) bool {
	if a < 0 || a == b {
		return false
	}
	l := e.f.Craft.Loads
	return slices.ContainsFunc(e.f.Craft.Combinations(), func(set []string) bool {
		return slices.Contains(set, l[a].Name) && slices.Contains(set, l[b].Name)
	})
}

// addSharedCovariance widens the joint covariance of a load's field at some stations.
func (e *evaluation) addSharedCovariance(keys []room.Key, cov *mat.SymDense) {
	if len(keys) == 0 || keys[0].Load == room.NoLoad {
		return
	}
	load := keys[0].Load
	for other := range e.f.Craft.Loads {
		if !e.together(load, other) || !e.walked[load] || !e.walked[other] {
			continue
		}
		var at []int
		both := slices.Clone(keys)
		for i, k := range keys {
			if e.determined(k.Station, other) {
				at = append(at, i)
				both = append(both, room.Key{Station: k.Station, Load: other})
			}
		}
		if len(at) == 0 {
			continue
		}
		_, joint := e.result.Joint(both)
		n := 3 * len(keys)
		for i, a := range at {
			for j, b := range at {
				ab, ba := magmath.Block(joint, 3*a, n+3*j), magmath.Block(joint, 3*b, n+3*i)
				magmath.AddBlock(cov, 3*a, 3*b, ab.Add(ba.Transpose()).Scale(0.5))
			}
		}
	}
}

// lackOfFit tests whether a load's field grows in proportion to its current:
// over the stations where it was seen at several levels, each against the
// readings with everything off unless pulsed, the scatter of field over level
// about its weighted mean is chi-square. 1 where no station saw two levels.
func (e *evaluation) lackOfFit(load int) float64 {
	chi, freedom := 0.0, 0
	for s := range e.index.stations {
		perLevel := e.perLevel(s, load)
		if len(perLevel) < 2 {
			continue
		}
		mean := pooled(perLevel).Mean
		for _, o := range perLevel {
			d := r3.Sub(o.B, mean)
			chi += r3.Dot(d, inverse(o.Cov).Apply(d))
		}
		freedom += 3 * (len(perLevel) - 1)
	}
	if freedom == 0 || math.IsNaN(chi) {
		return 1
	}
	return distuv.ChiSquared{K: float64(freedom)}.Survival(chi)
}

// unpoweredWith is the first capture at the station of o with everything off,
// in the same room; nil where there is none.
func (e *evaluation) unpoweredWith(o *room.Observation) *room.Observation {
	for _, q := range e.of(o.Station) {
		if q.Room == o.Room && q.Craft && !q.Pulsed && q.Load == room.NoLoad {
			return q
		}
	}
	return nil
}

// perLevel are a load's fields over level at a station, one for every level.
func (e *evaluation) perLevel(station, load int) []room.Observation {
	var out []room.Observation
	var levels []float64
	for _, o := range e.of(station) {
		if o.Load != load || o.Level == 0 || slices.ContainsFunc(levels, func(l float64) bool { return math.Abs(l-o.Level) < 0.02*math.Abs(l) }) {
			continue
		}
		b, cov := o.B, o.Noise(e.result.Hyper)
		if !o.Pulsed {
			off := e.unpoweredWith(o)
			if off == nil {
				continue
			}
			b, cov = r3.Sub(b, off.B), cov.Add(off.Noise(e.result.Hyper))
			if off.Run != o.Run {
				v := 2 * e.result.Hyper.OffsetUT * e.result.Hyper.OffsetUT
				cov = cov.Add(magmath.Diagonal(v, v, v))
			}
		}
		cov = cov.Scale(1 / (o.Level * o.Level)).Add(outerScaled(r3.Scale(1/o.Level, b), TypedCurrentSD*TypedCurrentSD))
		levels = append(levels, o.Level)
		out = append(out, room.Observation{B: r3.Scale(1/o.Level, b), Cov: cov})
	}
	return out
}
