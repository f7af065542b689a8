package source

import (
	"gonum.org/v1/gonum/spatial/r3"
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
	kind Kind
	name string

	coords      []float64 // mm
	coordsAt    []float64 // centre of their normal prior
	coordsSD    []float64 // +Inf: none
	strengthsSD []float64 // of their normal priors
	strengthsAt []float64
	columns     func(coords []float64, p r3.Vec) []r3.Vec            // unit fields
	slopes      func(coords, strengths []float64, p r3.Vec) []r3.Vec // of the field by each coordinate
	wires       func(coords []float64) wires                         // of a pair: what columns and slopes are made of, once for all places

	fixed bool  // the coordinates stay as they are for now
	tell  []int // the rows, strengths then coordinates, that are zero where it explains nothing

	// Of a lead: what is stated of it, the points of its path, and whether its
	// return runs elsewhere.
	gapMM, current float64
	points         int
	returned       bool
}

func (e *element) strengths() int { return len(e.strengthsSD) }

// movable is the number of coordinates that a fit may change.
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

// fields are the unit fields of e where it is, made ready for many places.
func (e *element) fields() func(p r3.Vec) []r3.Vec {
	if e.wires == nil {
		return func(p r3.Vec) []r3.Vec { return e.columns(e.coords, p) }
	}
	w := e.wires(e.coords)
	return func(p r3.Vec) []r3.Vec { return []r3.Vec{w.field(p)} }
}

// gradients are slopes of e where it is, made ready for many places.
func (e *element) gradients(strengths []float64) func(p r3.Vec) []r3.Vec {
	if e.wires == nil {
		return func(p r3.Vec) []r3.Vec { return e.slopes(e.coords, strengths, p) }
	}
	far, near := make([]wires, len(e.coords)), make([]wires, len(e.coords))
	moved := append([]float64(nil), e.coords...)
	for i, c := range e.coords {
		moved[i] = c + slopeStepMM
		far[i] = e.wires(moved)
		moved[i] = c - slopeStepMM
		near[i] = e.wires(moved)
		moved[i] = c
	}
	return func(p r3.Vec) []r3.Vec {
		out := make([]r3.Vec, len(far))
		for i := range far {
			out[i] = r3.Scale(strengths[0]/(2*slopeStepMM), r3.Sub(far[i].field(p), near[i].field(p)))
		}
		return out
	}
}

func place(c []float64) r3.Vec { return r3.Vec{X: c[0], Y: c[1], Z: c[2]} }

// dipoleAt is a dipole; sd is +Inf where nothing is known of its place.
func dipoleAt(name string, at r3.Vec, sd float64) *element {
	return &element{
		kind: KindDipole, name: name,
		coords:      []float64{at.X, at.Y, at.Z},
		coordsAt:    []float64{at.X, at.Y, at.Z},
		coordsSD:    []float64{sd, sd, sd},
		strengthsSD: []float64{momentSD, momentSD, momentSD},
		strengthsAt: []float64{0, 0, 0},
		columns:     dipoleColumns,
		slopes:      dipoleSlopes,
		tell:        []int{0, 1, 2},
	}
}

func dipoleColumns(c []float64, p r3.Vec) []r3.Vec {
	g := Basis(place(c), p)
	return []r3.Vec{{X: g[0][0], Y: g[1][0], Z: g[2][0]}, {X: g[0][1], Y: g[1][1], Z: g[2][1]}, {X: g[0][2], Y: g[1][2], Z: g[2][2]}}
}

// dipoleSlopes: moving the dipole is moving the reader the other way.
func dipoleSlopes(c, m []float64, p r3.Vec) []r3.Vec {
	j := Dipole{AtMM: place(c), MomentAm2: place(m)}.Jacobian(p).Scale(-1)
	return []r3.Vec{{X: j[0][0], Y: j[1][0], Z: j[2][0]}, {X: j[0][1], Y: j[1][1], Z: j[2][1]}, {X: j[0][2], Y: j[1][2], Z: j[2][2]}}
}

func (m Magnet) element() *element {
	sd := m.PlaceSDMM
	if !(sd > 0) {
		sd = placeSD
	}
	return dipoleAt(m.Name, m.AtMM, sd)
}
