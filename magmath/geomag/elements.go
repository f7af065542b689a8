package geomag

import "math"

// Elements are the elements of the geomagnetic field at one place and date,
// and their yearly changes: X north, Y east, Z down, H horizontal, F total in
// nanotesla; D east of true north and I below the horizontal in degrees.
type Elements struct {
	X, Y, Z, H, F, D, I                      float64
	DotX, DotY, DotZ, DotH, DotF, DotD, DotI float64 // a year
}

const degree = math.Pi / 180

// vector is a field in north, east and down components, nT or nT a year.
type vector struct{ north, east, down float64 }

// elements derives the seven elements and their rates from the field b and its
// yearly change dot.
//
// Where H is zero the declination has no value: D and DotD are then 0 and DotH
// is the rate at which H grows from there. Where F is zero the same holds for
// I and DotI.
//
// Source: Chulliat et al. (2025), The US/UK World Magnetic Model for
// 2025-2030, equations for H, F, I, D and their time derivatives, which are the
// chain rule applied to the definitions.
func elements(b, dot vector) Elements {
	e := Elements{
		X: b.north, Y: b.east, Z: b.down,
		DotX: dot.north, DotY: dot.east, DotZ: dot.down,
	}
	e.H = math.Hypot(e.X, e.Y)
	e.F = math.Hypot(e.H, e.Z)
	e.D = math.Atan2(e.Y, e.X) / degree
	e.I = math.Atan2(e.Z, e.H) / degree
	if e.H == 0 {
		e.DotH = math.Hypot(e.DotX, e.DotY)
	} else {
		e.DotH = (e.X*e.DotX + e.Y*e.DotY) / e.H
		e.DotD = (e.X*e.DotY - e.Y*e.DotX) / (e.H * e.H) / degree
	}
	if e.F == 0 {
		e.DotF = math.Hypot(e.DotH, e.DotZ)
	} else {
		e.DotF = (e.H*e.DotH + e.Z*e.DotZ) / e.F
		e.DotI = (e.H*e.DotZ - e.Z*e.DotH) / (e.F * e.F) / degree
	}
	return e
}
