package survey

import (
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Correction is the correction of a raw reading by a calibration, in sensor
// axes: corrected = Matrix (raw - OffsetUT). The header of a run holds it as
// JSON.
type Correction struct {
	OffsetUT [3]float64   `json:"offset_ut"` // microtesla
	Matrix   magmath.Mat3 `json:"matrix"`
}

// Frame takes readings of a probe from its sensor axes to the craft frame:
// correction first, then the axes. The zero value changes nothing.
type Frame struct {
	turned, corrected bool
	axes, matrix      magmath.Mat3 // matrix is axes times that of the correction
	offset            r3.Vec
}

// NewFrame returns the frame of a probe. axes turns a sensor vector into a craft
// vector; nil if it is not known: the readings then stay in sensor axes. c is nil
// for readings that need no correction.
func NewFrame(axes *magmath.Mat3, c *Correction) Frame {
	f := Frame{axes: magmath.Identity(), matrix: magmath.Identity()}
	if axes != nil && *axes != f.axes {
		f.turned, f.axes, f.matrix = true, *axes, *axes
	}
	if c != nil {
		f.corrected, f.matrix = true, f.axes.Mul(c.Matrix)
		f.offset = r3.Vec{X: c.OffsetUT[0], Y: c.OffsetUT[1], Z: c.OffsetUT[2]}
	}
	return f
}

// Field returns a raw field, microtesla in sensor axes, corrected and in the
// craft frame. Without axes and correction it returns raw unchanged.
func (f Frame) Field(raw r3.Vec) r3.Vec {
	if !f.turned && !f.corrected {
		return raw
	}
	return f.matrix.Apply(r3.Sub(raw, f.offset))
}

// Turn returns v, a vector in sensor axes such as an acceleration, in the craft
// frame, without the correction of the field.
func (f Frame) Turn(v r3.Vec) r3.Vec {
	if !f.turned {
		return v
	}
	return f.axes.Apply(v)
}
