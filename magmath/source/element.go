package source

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Kind tells sources apart.
type Kind string

// The kinds of source.
const (
	KindDipole Kind = "dipole"
	KindLead   Kind = "lead"
)

// Magnet is a magnet whose place the builder wrote down.
type Magnet struct {
	Name      string
	AtMM      r3.Vec
	PlaceSDMM float64 // standard uncertainty of each coordinate; 0: 10 mm
	MomentSD  float64 // of each component of its moment, about zero, ampere square metres; 0: 1
}

// NamedLead is a lead whose path the builder wrote down.
type NamedLead struct {
	Name      string
	PathMM    []r3.Vec
	ReturnMM  []r3.Vec // where the return runs elsewhere; nil: beside the supply
	GapMM     float64  // between the two; 0: not known
	CurrentA  float64  // in it while the readings were taken; 0: 10 A
	PlaceSDMM float64  // standard uncertainty of each coordinate of the path; 0: 5 mm
}

// Priors. Strengths are hardly held: a block of 20 mm of the strongest magnet
// there is has 8 A m2, what sits on a small craft under 1. Common practice, no
// source.
const (
	momentSD     = 1.0  // ampere square metres
	placeSD      = 10.0 // millimetres
	pathSD       = 5.0
	expectedA    = 10.0
	looseGapMM   = 10.0 // how far two conductors may lie apart beyond what is stated
	knownShare   = 0.05 // how far the current in a pair may differ from that stated
	currentShare = 0.5  // and the current round a stated return
)

// element is a source in a model: a field linear in some strengths (moment,
// current) and not linear in some coordinates.
type element struct {
	kind  Kind
	name  string
	given bool // not found by the search

	coords      []float64 // mm
	coordsAt    []float64 // centre of their normal prior
	coordsSD    []float64 // +Inf: none
	strengthsSD []float64 // of their normal priors
	strengthsAt []float64
	wires       func(coords []float64) wires // of a lead: its circuit at one ampere

	fixed bool  // the coordinates stay as they are for now
	tell  []int // the rows, strengths then coordinates, that are zero where it explains nothing

	// Of a lead: what is stated of it, the points of its path, and whether its
	// return runs elsewhere.
	gapMM, current float64
	points         int
	returned       bool
}

func (e *element) strengths() int { return len(e.strengthsSD) }

// movable returns the number of coordinates that a fit may change.
func (e *element) movable() int {
	if e.fixed {
		return 0
	}
	return len(e.coords)
}

func (e *element) clone() *element {
	c := *e
	c.coords = append([]float64(nil), e.coords...)
	return &c
}

// vectors is a function that appends some vectors of a place to others.
type vectors func(to []r3.Vec, p r3.Vec) []r3.Vec

// fields returns the function that gives the unit fields of e at a place:
// microtesla per ampere square metre of each component of a moment, or per ampere.
func (e *element) fields() vectors {
	if e.wires == nil {
		at := place(e.coords)
		return func(to []r3.Vec, p r3.Vec) []r3.Vec { return appendColumns(to, Basis(at, p)) }
	}
	w := e.wires(e.coords)
	return func(to []r3.Vec, p r3.Vec) []r3.Vec { return append(to, w.field(p)) }
}

// gradients returns the function that gives the derivatives of the field by each
// coordinate at a place, microtesla per millimetre.
func (e *element) gradients(strengths []float64) vectors {
	if e.wires == nil {
		d := Dipole{AtMM: place(e.coords), MomentAm2: place(strengths)}
		// Moving the dipole is moving the reader the other way.
		return func(to []r3.Vec, p r3.Vec) []r3.Vec { return appendColumns(to, d.Jacobian(p).Scale(-1)) }
	}
	w, moves := e.wires(e.coords), e.moves()
	return func(to []r3.Vec, p r3.Vec) []r3.Vec {
		to = append(to, make([]r3.Vec, len(moves))...)
		out := to[len(to)-len(moves):]
		for k, s := range w {
			byA, byB := s.slopes(p)
			for i, m := range moves {
				if m[k] != (segment{}) {
					out[i] = r3.Add(out[i], r3.Add(byA.Apply(m[k].a), byB.Apply(m[k].b)))
				}
			}
		}
		for i := range out {
			out[i] = r3.Scale(wireUT*strengths[0], out[i])
		}
		return to
	}
}

// moves returns how far the ends of each wire of a lead move for a millimetre of
// each coordinate, by central differences: but for the direction of its gap they
// are linear in them.
func (e *element) moves() []wires {
	moved := append([]float64(nil), e.coords...)
	out := make([]wires, len(moved))
	for i, c := range e.coords {
		moved[i] = c + slopeStepMM
		out[i] = e.wires(moved)
		moved[i] = c - slopeStepMM
		for k, near := range e.wires(moved) {
			far := out[i][k]
			out[i][k] = segment{r3.Scale(1/(2*slopeStepMM), r3.Sub(far.a, near.a)), r3.Scale(1/(2*slopeStepMM), r3.Sub(far.b, near.b))}
		}
		moved[i] = c
	}
	return out
}

func appendColumns(to []r3.Vec, m magmath.Mat3) []r3.Vec {
	return append(to, r3.Vec{X: m[0][0], Y: m[1][0], Z: m[2][0]}, r3.Vec{X: m[0][1], Y: m[1][1], Z: m[2][1]}, r3.Vec{X: m[0][2], Y: m[1][2], Z: m[2][2]})
}

func place(c []float64) r3.Vec { return r3.Vec{X: c[0], Y: c[1], Z: c[2]} }

// dipoleAt returns a dipole; sd is +Inf where nothing is known of its place.
func dipoleAt(name string, at r3.Vec, sd float64) *element {
	return &element{
		kind: KindDipole, name: name,
		coords:      []float64{at.X, at.Y, at.Z},
		coordsAt:    []float64{at.X, at.Y, at.Z},
		coordsSD:    []float64{sd, sd, sd},
		strengthsSD: []float64{momentSD, momentSD, momentSD},
		strengthsAt: []float64{0, 0, 0},
		tell:        []int{0, 1, 2},
	}
}

func (m Magnet) element() *element {
	sd := m.PlaceSDMM
	if !(sd > 0) {
		sd = placeSD
	}
	e := dipoleAt(m.Name, m.AtMM, sd)
	e.given = true
	if m.MomentSD > 0 {
		e.strengthsSD = []float64{m.MomentSD, m.MomentSD, m.MomentSD}
	}
	return e
}

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
	e.given = true
	e.gapMM = max(0, l.GapMM)
	if len(l.ReturnMM) > 1 {
		e.returned = true
		n := 3 * e.points
		e.coords, e.coordsAt, e.coordsSD = e.coords[:n], e.coordsAt[:n], e.coordsSD[:n]
		e.strengthsSD = []float64{currentShare * e.current}
		e.tell = []int{0}
		e.wires = func(c []float64) wires { return Circuit(pointsOf(c, len(c)/3), l.ReturnMM, 1).wires() }
	}
	return e
}

// leadAlong returns a pair along a path; sd is +Inf where the path is not known.
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

// pairAlong returns the circuit of a pair: out along the path, back beside it, with
// joins at its ends.
func pairAlong(c []float64) wires {
	n := len(c) - 2
	path := pointsOf(c, n/3)
	level, other := acrossPath(path)
	half := r3.Scale(0.5, r3.Add(r3.Scale(c[n], level), r3.Scale(c[n+1], other)))
	w := make(wires, 0, 2*len(path))
	for i := 1; i < len(path); i++ {
		w = append(w, segment{r3.Add(path[i-1], half), r3.Add(path[i], half)}, segment{r3.Sub(path[i], half), r3.Sub(path[i-1], half)})
	}
	first, last := path[0], path[len(path)-1]
	return append(w, segment{r3.Add(last, half), r3.Sub(last, half)}, segment{r3.Sub(first, half), r3.Add(first, half)})
}

// acrossPath returns the two directions of a gap: level, to the right of the path
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
