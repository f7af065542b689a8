package builtcraft

import (
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/logbook"
)

// The faults below spoil honest runs, for the tests of the gate. Each returns copies and
// leaves the runs given to it as they are. A visit is the number of a capture within its
// run, from 1.

// Scaled multiplies the readings of the run number by factor, from the visit from on.
func Scaled(runs []*logbook.Run, number, from int, factor float64) []*logbook.Run {
	return spoiled(runs, func(r *logbook.Run, k *logbook.Capture, b r3.Vec) r3.Vec {
		if r.Header.Run != number || k.Number < from {
			return b
		}
		return r3.Scale(factor, b)
	})
}

// Turned turns the probe by deg clockwise, seen from above, from the visit from of the
// run number on, as if it had come loose in its case.
func Turned(runs []*logbook.Run, number, from int, deg float64) []*logbook.Run {
	return spoiled(runs, func(r *logbook.Run, k *logbook.Capture, b r3.Vec) r3.Vec {
		if r.Header.Run != number || k.Number < from {
			return b
		}
		axes := r.Header.Axes
		return axes.Transpose().Apply(yawed(axes.Apply(b), -deg))
	})
}

// Mirrored negates one axis of the sensor, 0 to 2 for x to z, in all runs.
func Mirrored(runs []*logbook.Run, axis int) []*logbook.Run {
	return spoiled(runs, func(_ *logbook.Run, _ *logbook.Capture, b r3.Vec) r3.Vec {
		v := [3]float64{b.X, b.Y, b.Z}
		v[axis] = -v[axis]
		return r3.Vec{X: v[0], Y: v[1], Z: v[2]}
	})
}

// Swapped exchanges two axes of the sensor, 0 to 2 for x to z, in all runs.
func Swapped(runs []*logbook.Run, one, other int) []*logbook.Run {
	return spoiled(runs, func(_ *logbook.Run, _ *logbook.Capture, b r3.Vec) r3.Vec {
		v := [3]float64{b.X, b.Y, b.Z}
		v[one], v[other] = v[other], v[one]
		return r3.Vec{X: v[0], Y: v[1], Z: v[2]}
	})
}

// Unmeasured leaves the runs of a state out.
func Unmeasured(runs []*logbook.Run, state string) []*logbook.Run {
	return slices.DeleteFunc(slices.Clone(runs), func(r *logbook.Run) bool { return r.Header.State == state })
}

// Clipped stops every component of every reading at levelUT, below the stated range of
// the module.
func Clipped(runs []*logbook.Run, levelUT float64) []*logbook.Run {
	return spoiled(runs, func(_ *logbook.Run, _ *logbook.Capture, b r3.Vec) r3.Vec { return clipped(b, levelUT) })
}

// Foreign lies a magnet, craft frame, near the craft from the visit from to the visit
// to, both included, of the run number. The module gives the place of the sensor above
// each station; the pose of a setting-down is not known here and left out.
func (b *Built) Foreign(runs []*logbook.Run, number, from, to int, at, momentAm2 r3.Vec) []*logbook.Run {
	magnet := []dipole{{at, momentAm2}}
	return spoiled(runs, func(r *logbook.Run, k *logbook.Capture, v r3.Vec) r3.Vec {
		if r.Header.Run != number || k.Number < from || k.Number > to {
			return v
		}
		added := fieldOf(magnet, b.Craft.Module.SensorAt(k.At, 0))
		return clipped(r3.Add(v, r.Header.Axes.Transpose().Apply(added)), rangeUT)
	})
}

// spoiled returns copies of the runs with every reading, in the axes of the sensor,
// passed through change.
func spoiled(runs []*logbook.Run, change func(*logbook.Run, *logbook.Capture, r3.Vec) r3.Vec) []*logbook.Run {
	var out []*logbook.Run
	for _, r := range runs {
		run := *r
		run.Captures = slices.Clone(r.Captures)
		for i := range run.Captures {
			k := &run.Captures[i]
			k.Samples = slices.Clone(k.Samples)
			for j := range k.Samples {
				k.Samples[j].B = change(&run, k, k.Samples[j].B)
			}
			show(k, run.Header)
		}
		out = append(out, &run)
	}
	return out
}

// clipped stops each component at the level.
func clipped(v r3.Vec, level float64) r3.Vec {
	one := func(x float64) float64 { return max(-level, min(level, x)) }
	return r3.Vec{X: one(v.X), Y: one(v.Y), Z: one(v.Z)}
}
