package gate

import (
	"context"
	"maps"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/survey/logbook"
)

// clipping looks for an axis of the sensor that stops at a value short of the
// stated range: a probe set to another range than the craft file says, or one whose
// amplifier saturates. All runs of one probe are looked at together.
func clipping(_ context.Context, s subject) Check {
	if why, found := clips(s.f.Runs, s.f.Craft.MeasuringModule().RangeUT); found {
		return failed(why)
	}
	if len(s.f.Runs) == 0 {
		return abstain(remark.New("gate.no_captures"))
	}
	return passed()
}

// Limits of clipping. Readings of a field that is not clipped crowd in its middle,
// not at its end: the outermost value of an axis is a rare one. Own judgement, no
// source.
const (
	clipReadings = 30 // at the outermost value, at least
	clipStations = 2  // at which they were taken
	clipValues   = 20 // different values that the finest axis must have shown: fewer is a coarse sensor
	clipCrowd    = 8  // times as many as at the usual value
)

// clips reports whether readings of the runs, as the probe sent them, crowd at the
// outermost value of an axis, microtesla, that is under the stated range (0: none
// stated). The remark names axis and level; captures at the stated range itself are
// not meant.
func clips(runs []*logbook.Run, rangeUT float64) (remark.Remark, bool) {
	axes := [3]tally{}
	fine := 0
	for axis := range axes {
		axes[axis] = tallyOf(runs, axis)
		if len(axes[axis]) > len(axes[fine]) {
			fine = axis
		}
	}
	if len(axes[fine]) < clipValues {
		return remark.Remark{}, false
	}
	usual := axes[fine].usual()
	for axis, t := range axes {
		for _, level := range t.ends() {
			n := t[level]
			short := rangeUT <= 0 || math.Abs(level) < 0.98*rangeUT
			if short && n >= clipReadings && n > clipCrowd*usual && stationsAt(runs, axis, level) >= clipStations {
				return remark.New("gate.clipping", remark.Values{"axis": []string{"x", "y", "z"}[axis], "level_ut": level, "readings": n, "range_ut": rangeUT}), true
			}
		}
	}
	return remark.Remark{}, false
}

// tally counts the readings of an axis by their value, microtesla.
type tally map[float64]int

func tallyOf(runs []*logbook.Run, axis int) tally {
	t := tally{}
	for _, r := range runs {
		for _, c := range r.Valid() {
			for _, x := range c.Samples {
				t[component(x.B, axis)]++
			}
		}
	}
	return t
}

// stationsAt returns the number of stations at which an axis read a value.
func stationsAt(runs []*logbook.Run, axis int, value float64) int {
	at := map[string]bool{}
	for _, r := range runs {
		for _, c := range r.Valid() {
			for _, x := range c.Samples {
				if component(x.B, axis) == value {
					at[c.Station] = true
				}
			}
		}
	}
	return len(at)
}

// usual is the median number of readings of one value.
func (t tally) usual() int {
	sizes := make([]int, 0, len(t))
	for _, n := range t {
		sizes = append(sizes, n)
	}
	slices.Sort(sizes)
	return sizes[len(sizes)/2]
}

// ends are the least and the greatest value.
func (t tally) ends() []float64 {
	all := slices.Sorted(maps.Keys(t))
	if len(all) == 0 {
		return nil
	}
	return []float64{all[0], all[len(all)-1]}
}

func component(v r3.Vec, axis int) float64 {
	switch axis {
	case 0:
		return v.X
	case 1:
		return v.Y
	}
	return v.Z
}
