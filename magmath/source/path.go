package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// element gives a lead its coordinates: the points of its path and, where both
// conductors run together, the two components of the gap between them, level
// and across both; its one strength is the current, which is known but for a
// few per cent. A lead whose return is stated has, beside the points of its
// path, no gap, and its current is hardly held.
//
// The gap times the current is what the field tells; both enter as they are,
// not as a thin pair, since a gap of a few millimetres counts at a depth of a
// few times that.
func (l NamedLead) element() *element {
	sd := l.PlaceSDMM
	if !(sd > 0) {
		sd = pathSD
	}
	e := leadAlong(l.Name, l.PathMM, sd, l.CurrentA, max(0, l.GapMM)+looseGapMM)
	e.gapMM = max(0, l.GapMM)
	if len(l.ReturnMM) > 1 {
		e.returned = true
		n := 3 * e.points
		e.coords, e.coordsAt, e.coordsSD = e.coords[:n], e.coordsAt[:n], e.coordsSD[:n]
		e.strengthsSD = []float64{currentShare * e.current}
		e.tell = []int{0}
		e.columns = func(c []float64, p r3.Vec) []r3.Vec {
			return []r3.Vec{Circuit(pointsOf(c, len(c)/3), l.ReturnMM, 1).Field(p)}
		}
		e.slopes = numericSlopes(e.columns)
		e.wires = nil
	}
	return e
}

// leadAlong is a pair along a path; sd is +Inf where the path is not known.
func leadAlong(name string, path []r3.Vec, sd, currentA, gapSD float64) *element {
	amps := math.Abs(currentA)
	if !(amps > 0) {
		amps = expectedA
	}
	e := &element{kind: KindLead, name: name, current: amps, points: len(path)}
	for _, p := range path {
		e.coordsAt = append(e.coordsAt, p.X, p.Y, p.Z)
		e.coordsSD = append(e.coordsSD, sd, sd, sd)
	}
	n := len(e.coordsAt)
	e.coordsAt, e.coordsSD = append(e.coordsAt, 0, 0), append(e.coordsSD, gapSD, gapSD)
	e.coords = append([]float64(nil), e.coordsAt...)
	e.strengthsAt, e.strengthsSD = []float64{amps}, []float64{knownShare * amps}
	e.tell = []int{1 + n, 2 + n}
	e.columns = pairColumns
	e.slopes = numericSlopes(pairColumns)
	e.wires = pairAlong
	return e
}

func pointsOf(c []float64, n int) []r3.Vec {
	out := make([]r3.Vec, n)
	for i := range out {
		out[i] = place(c[3*i:])
	}
	return out
}

// pairColumns is the field of one ampere: the last two coordinates are the
// gap.
func pairColumns(c []float64, p r3.Vec) []r3.Vec { return []r3.Vec{pairAlong(c).field(p)} }

// wires are pieces of a circuit of one ampere.
type wires []segment

func (w wires) field(p r3.Vec) r3.Vec {
	var b r3.Vec
	for _, s := range w {
		b = r3.Add(b, s.field(p))
	}
	return r3.Scale(wireUT, b)
}

// pairAlong is the circuit of a pair: out along the path, back beside it, with
// joins at its ends; none where there is no gap.
func pairAlong(c []float64) wires {
	n := len(c) - 2
	path := pointsOf(c, n/3)
	level, other := acrossPath(path)
	half := r3.Scale(0.5, r3.Add(r3.Scale(c[n], level), r3.Scale(c[n+1], other)))
	if half == (r3.Vec{}) {
		return nil
	}
	w := make(wires, 0, 2*len(path))
	for i := 1; i < len(path); i++ {
		w = append(w, segment{r3.Add(path[i-1], half), r3.Add(path[i], half)}, segment{r3.Sub(path[i], half), r3.Sub(path[i-1], half)})
	}
	first, last := path[0], path[len(path)-1]
	return append(w, segment{r3.Add(last, half), r3.Sub(last, half)}, segment{r3.Sub(first, half), r3.Add(first, half)})
}

// acrossPath are the two directions of a gap: level, to the right of the path
// seen from above, and across both.
func acrossPath(path []r3.Vec) (level, other r3.Vec) {
	along := r3.Sub(path[len(path)-1], path[0])
	side := r3.Cross(r3.Vec{Z: 1}, along)
	n := length(side)
	if n <= 1e-9*length(along) {
		return r3.Vec{Y: 1}, r3.Vec{X: 1}
	}
	level = r3.Scale(1/n, side)
	up := r3.Cross(along, level)
	return level, r3.Scale(1/length(up), up)
}

// slopeStepMM is the step of the differences by a path's coordinates.
const slopeStepMM = 0.1

// numericSlopes are central differences of one strength's field.
func numericSlopes(columns func([]float64, r3.Vec) []r3.Vec) func(c, x []float64, p r3.Vec) []r3.Vec {
	return func(c, x []float64, p r3.Vec) []r3.Vec {
		out := make([]r3.Vec, len(c))
		moved := append([]float64(nil), c...)
		for i := range c {
			moved[i] = c[i] + slopeStepMM
			far := columns(moved, p)[0]
			moved[i] = c[i] - slopeStepMM
			near := columns(moved, p)[0]
			moved[i] = c[i]
			out[i] = r3.Scale(x[0]/(2*slopeStepMM), r3.Sub(far, near))
		}
		return out
	}
}
