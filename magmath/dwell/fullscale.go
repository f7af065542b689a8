package dwell

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// fullScale is the part of a stated range from which on a reading counts as
// one at full scale. Data sheets state the range in round numbers and the
// sensitivity to a few per cent, so that an axis may stop short of the range.
// Own judgement, no source.
const fullScale = 0.98

// spareReadings is the number of readings of which one may stand at full
// scale: a larger share than one in twenty makes a capture unusable. A few
// single readings at the limit are spikes, which Locate leaves out. Where the
// field itself is that close to the limit, noise pushes readings over it: with
// one in twenty cut off at the limit, the mean of normal noise falls short by
// 0.02 of the standard deviation of one reading, a sixth of the standard error
// of the mean of 60 readings. With one in four cut off it is 0.15, more than
// that standard error.
// Source: mean of a normal distribution censored at z, phi(z) - z (1 - Phi(z))
// standard deviations too low. The share is own judgement from it.
const spareReadings = 20

// AtFullScale reports whether one axis of a raw reading, in microtesla as the
// probe sends it, stands at the full scale of the probe. Such a value is a
// bound and not a reading. It is false where no range is stated (rangeUT 0).
func AtFullScale(rawUT, rangeUT float64) bool {
	return rangeUT > 0 && math.Abs(rawUT) >= fullScale*rangeUT
}

// FullScale counts the readings of one capture that stand at the full scale of
// the probe on any axis. Set RangeUT, then Add each reading.
type FullScale struct {
	RangeUT float64     // full scale of one axis, microtesla; 0: not stated, nothing is at full scale
	parts   [3]Clipping // by level; Unknown: the whole capture
}

// Add counts a raw reading, in microtesla as the probe sends it. The level is
// Unknown for a capture that is not pulsed.
func (f *FullScale) Add(raw r3.Vec, level Level) {
	at := Clipping{Readings: 1}
	for axis, b := range [3]float64{raw.X, raw.Y, raw.Z} {
		if AtFullScale(b, f.RangeUT) {
			at.AtLimit, at.Axes[axis], at.LastUT[axis] = 1, 1, b
		}
	}
	f.parts[Unknown].add(at)
	if level != Unknown {
		f.parts[level].Level = level
		f.parts[level].add(at)
	}
}

// Worst returns the part of the capture with the largest share of readings at
// full scale: the whole, or the readings with the load off, or on.
func (f *FullScale) Worst() Clipping {
	worst := f.parts[Unknown]
	for _, p := range f.parts[Off:] {
		if p.AtLimit*worst.Readings > worst.AtLimit*p.Readings {
			worst = p
		}
	}
	return worst
}

// Clipping says how many readings of a capture, or of a part of it, stand at
// full scale.
type Clipping struct {
	Level    Level // of the load, Off or On; Unknown: the whole capture
	Readings int
	AtLimit  int        // readings at full scale on any axis
	Axes     [3]int     // readings at full scale on x, y, z of the sensor
	LastUT   [3]float64 // the last such value of each axis, microtesla
}

func (c *Clipping) add(one Clipping) {
	c.Readings += one.Readings
	c.AtLimit += one.AtLimit
	for axis, n := range one.Axes {
		if n > 0 {
			c.Axes[axis] += n
			c.LastUT[axis] = one.LastUT[axis]
		}
	}
}

// Unusable reports whether too many readings stand at full scale for the
// capture to give a field: more than one in twenty.
func (c Clipping) Unusable() bool { return c.AtLimit*spareReadings > c.Readings }

// Worst returns the axis with the most readings at full scale, 0 to 2 for x to
// z of the sensor.
func (c Clipping) Worst() int {
	worst := 0
	for axis, n := range c.Axes {
		if n > c.Axes[worst] {
			worst = axis
		}
	}
	return worst
}
