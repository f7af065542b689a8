package sim

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// Shifting returns the truth about the shifting part at p: of all sets of loads
// that can be on together, each at its maximum or off, the one whose field
// has the largest level part, and that field. No loads: nothing.
func (w *World) Shifting(p r3.Vec) (d r3.Vec, names []string) {
	full := map[string]r3.Vec{}
	for _, l := range w.Craft.Loads {
		full[l.Name] = w.LoadField(l.Name, most(l), p)
	}
	best := 0.
	for _, set := range w.Craft.Combinations() {
		set = set[:min(len(set), 16)]
		for bits := 1; bits < 1<<len(set); bits++ {
			sum, on := sumOf(full, set, bits)
			if level := math.Hypot(sum.X, sum.Y); level > best {
				best, d, names = level, sum, on
			}
		}
	}
	return d, names
}

// sumOf adds the fields of those of the set whose bit is one.
func sumOf(full map[string]r3.Vec, set []string, bits int) (sum r3.Vec, on []string) {
	for i, name := range set {
		if bits&(1<<i) != 0 {
			sum, on = r3.Add(sum, full[name]), append(on, name)
		}
	}
	return sum, on
}

// ShiftingErrorDeg returns the true shifting heading error at p: the worst over
// all headings on a level craft, 180 where the compass can point anywhere.
//
// Source: asin(d/H), the geometry of adding a level vector d to H.
func (w *World) ShiftingErrorDeg(p r3.Vec) float64 {
	d, _ := w.Shifting(p)
	ratio := math.Hypot(d.X, d.Y) / w.HUT()
	if !(ratio < 1) {
		return 180
	}
	return math.Asin(ratio) * 180 / math.Pi
}

// most returns the level of a load that is full on: its maximum current, or a
// mover's other end.
func most(l survey.Load) float64 {
	if l.Kind == survey.LoadMoving {
		return 1
	}
	return l.MaxCurrentA
}
