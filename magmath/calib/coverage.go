package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Cells is the number of cells of equal area into which the sphere of directions
// is divided: bands about the z axis, each with a number of cells in proportion
// to its area. A cell is about 22 degrees across.
const Cells = 84

// bands are the numbers of cells from pole to pole; read only.
var bands = [8]int{3, 9, 14, 16, 16, 14, 9, 3}

// A Coverage counts by cells the directions that were shown. The zero value has
// none.
type Coverage struct{ seen [Cells]int }

// Cell returns the number of the cell of the direction of u, 0 to Cells-1. The
// zero vector and NaN count as +z.
func Cell(u r3.Vec) int {
	n := r3.Norm(u)
	if !(n > 0) || math.IsInf(n, 0) {
		return 0
	}
	down := (1 - min(max(u.Z/n, -1), 1)) / 2 // share of the area above u
	first := 0
	for b, count := range bands {
		if down*Cells < float64(first+count) || b == len(bands)-1 {
			turn := math.Atan2(u.Y, u.X)/(2*math.Pi) + 1
			return first + int(turn*float64(count))%count
		}
		first += count
	}
	return 0
}

// CellDirection returns the unit vector to the middle of a cell. It panics if
// there is no such cell.
func CellDirection(cell int) r3.Vec {
	first := 0
	for _, count := range bands {
		if cell >= 0 && cell < first+count {
			z := 1 - 2*(float64(first)+float64(count)/2)/Cells
			phi := 2 * math.Pi * (float64(cell-first) + 0.5) / float64(count)
			rho := math.Sqrt(1 - z*z)
			return r3.Vec{X: rho * math.Cos(phi), Y: rho * math.Sin(phi), Z: z}
		}
		first += count
	}
	panic("calib: no such cell")
}

// Add counts a direction.
func (c *Coverage) Add(u r3.Vec) { c.seen[Cell(u)]++ }

// Seen reports whether a direction in the cell was shown.
func (c *Coverage) Seen(cell int) bool { return c.seen[cell] > 0 }

// fraction returns the share of the cells that were entered, 0 to 1.
func (c *Coverage) fraction() float64 {
	n := 0
	for _, k := range c.seen {
		if k > 0 {
			n++
		}
	}
	return float64(n) / Cells
}

// gap returns the middle of the cell that is farthest from every cell entered, of
// several the one nearest to now, so that the hand need not turn far. ok is false
// if every cell was entered.
func (c *Coverage) gap(now r3.Vec) (u r3.Vec, ok bool) {
	best := -1.0
	for i := range Cells {
		if c.seen[i] > 0 {
			continue
		}
		v := CellDirection(i)
		far := math.Pi
		for j := range Cells {
			if c.seen[j] > 0 {
				far = min(far, angle(v, CellDirection(j)))
			}
		}
		// Half a degree of distance is worth ten of turning.
		if score := far - angle(v, now)/20; score > best || !ok {
			best, u, ok = score, v, true
		}
	}
	return u, ok
}

// angle returns the angle between two directions in radians; 0 where one has no
// length.
func angle(a, b r3.Vec) float64 {
	n := r3.Norm(a) * r3.Norm(b)
	if !(n > 0) {
		return 0
	}
	return math.Acos(min(max(r3.Dot(a, b)/n, -1), 1))
}

// CellBounds returns the edges of a cell: the upper and the lower z on the unit
// sphere, and the azimuth from x towards y in radians. It panics if there is no
// such cell.
func CellBounds(cell int) (zUp, zLow, from, to float64) {
	first := 0
	for _, count := range bands {
		if cell >= 0 && cell < first+count {
			step := 2 * math.Pi / float64(count)
			from = step * float64(cell-first)
			return 1 - 2*float64(first)/Cells, 1 - 2*float64(first+count)/Cells, from, from + step
		}
		first += count
	}
	panic("calib: no such cell")
}

// attitudes returns directions of the field in sensor axes, spread evenly over
// the attitudes that the craft flies: yaw all round, tilt up to the limit about
// any horizontal axis; every direction if the dip is not known or the tilt is 90
// degrees or more.
func (o Options) attitudes() []r3.Vec {
	if o.any() {
		out := make([]r3.Vec, Cells)
		for i := range out {
			out[i] = CellDirection(i)
		}
		return out
	}
	const yaws, azimuths, rings = 16, 8, 3
	dip := o.DipDeg * math.Pi / 180
	down := o.down()
	north := perpendicular(down)
	east := r3.Cross(down, north)
	field := r3.Vec{X: math.Cos(dip), Z: math.Sin(dip)}
	var out []r3.Vec
	for ring := range rings {
		// Equal areas of the cap of tilts: every tilt of the plumb line is as likely.
		cap := 1 - math.Cos(max(o.TiltDeg, 0)*math.Pi/180)
		tilt := math.Acos(1 - cap*(float64(ring)+0.5)/rings)
		for a := range azimuths {
			about := 2 * math.Pi * float64(a) / azimuths
			turned := rotate(field, r3.Vec{X: math.Cos(about), Y: math.Sin(about)}, tilt)
			for y := range yaws {
				v := rotate(turned, r3.Vec{Z: 1}, 2*math.Pi*float64(y)/yaws)
				out = append(out, r3.Add(r3.Scale(v.X, north), r3.Add(r3.Scale(v.Y, east), r3.Scale(v.Z, down))))
			}
		}
	}
	return out
}

// rotate returns v turned by an angle, radians, about a unit axis.
// Source: Rodrigues' rotation formula.
func rotate(v, axis r3.Vec, angle float64) r3.Vec {
	c, s := math.Cos(angle), math.Sin(angle)
	return r3.Add(r3.Scale(c, v), r3.Add(r3.Scale(s, r3.Cross(axis, v)), r3.Scale((1-c)*r3.Dot(axis, v), axis)))
}

// perpendicular returns a unit vector at right angles to the unit vector v.
func perpendicular(v r3.Vec) r3.Vec {
	a := r3.Vec{X: 1}
	if math.Abs(v.X) > 0.8 {
		a = r3.Vec{Y: 1}
	}
	return r3.Unit(r3.Sub(a, r3.Scale(r3.Dot(a, v), v)))
}

// shown returns the share of the attitudes within 12 degrees of a direction that
// was seen; within 30 where any direction may be flown: there the error of the
// fit decides, not the coverage.
func (o Options) shown(attitudes, seen []r3.Vec) float64 {
	limit := math.Cos(12 * math.Pi / 180)
	if o.any() {
		limit = math.Cos(30 * math.Pi / 180)
	}
	n := 0
	for _, a := range attitudes {
		for _, s := range seen {
			if r3.Dot(a, s) >= limit {
				n++
				break
			}
		}
	}
	return float64(n) / float64(max(len(attitudes), 1))
}

// any reports whether every direction may be flown.
func (o Options) any() bool { return math.IsNaN(o.DipDeg) || o.TiltDeg >= 90 }
