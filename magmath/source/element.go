package source

import (
	"math"

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
	Name     string
	PathMM   []r3.Vec
	ReturnMM []r3.Vec // where the return runs elsewhere; nil: beside the supply
	GapMM    float64  // between the two; 0: not known
	CurrentA float64  // expected in it, to scale the priors; 0: 10 A
}

// Priors. Strengths are hardly held: a block of 20 mm of the strongest magnet
// there is has 8 A m2, what sits on a small craft under 1. Common practice, no
// source.
const (
	momentSD     = 1.0  // ampere square metres
	placeSD      = 10.0 // millimetres
	expectedA    = 10.0
	looseGapMM   = 10.0 // how far two conductors may lie apart beyond what is stated
	strayShare   = 0.01 // of the current that may not come back along its own lead
	currentShare = 0.5  // how far the current round a stated return may differ
)

// element is a source in a model: a field linear in some strengths (moment,
// current) and not linear in some coordinates.
type element struct {
	kind Kind
	name string

	coords         []float64 // mm
	coordsAt       []float64 // centre of their normal prior
	coordsSD       []float64 // +Inf: none
	strengthsSD    []float64 // of their normal priors
	strengthsAt    []float64
	columns        func(coords []float64, p r3.Vec) []r3.Vec            // unit fields
	slopes         func(coords, strengths []float64, p r3.Vec) []r3.Vec // of the field by each coordinate
	fixed          bool                                                 // the coordinates stay as they are for now
	gapMM, current float64                                              // of a lead
	pathMM         []r3.Vec
	returned       bool // a lead whose return runs elsewhere
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

// element gives a lead its strengths: current times gap, ampere millimetres,
// in two directions across the path, and the net current that comes back
// elsewhere: round the stated return, else, for a bent path whose return is
// not stated, straight from end to end, and then hardly any.
func (l NamedLead) element() *element {
	amps := math.Abs(l.CurrentA)
	if !(amps > 0) {
		amps = expectedA
	}
	e := &element{kind: KindLead, name: l.Name, gapMM: l.GapMM, current: amps, pathMM: l.PathMM, returned: len(l.ReturnMM) > 1}
	one, two := pairBasis(l.PathMM)
	circuits := []Lead{one, two}
	pair := amps * (max(0, l.GapMM) + looseGapMM)
	e.strengthsSD, e.strengthsAt = []float64{pair, pair}, []float64{0, 0}
	switch {
	case e.returned:
		circuits = append(circuits, Circuit(l.PathMM, l.ReturnMM, 1))
		e.strengthsSD, e.strengthsAt = append(e.strengthsSD, currentShare*amps), append(e.strengthsAt, l.CurrentA)
	case len(l.PathMM) > 2:
		circuits = append(circuits, Circuit(l.PathMM, nil, 1))
		e.strengthsSD, e.strengthsAt = append(e.strengthsSD, strayShare*amps), append(e.strengthsAt, 0)
	}
	e.columns = func(_ []float64, p r3.Vec) []r3.Vec {
		out := make([]r3.Vec, len(circuits))
		for i, c := range circuits {
			out[i] = c.Field(p)
		}
		return out
	}
	return e
}

// pairBasis are pairs of one ampere millimetre along a path, the gap in the
// two directions across it: level, to the right seen from above, and across
// both. A gap of a millimetre stands for a vanishing one.
func pairBasis(path []r3.Vec) (level, other Lead) {
	along := r3.Sub(path[len(path)-1], path[0])
	side := r3.Cross(r3.Vec{Z: 1}, along)
	if r3.Norm(side) <= 1e-9*r3.Norm(along) {
		side = r3.Vec{Y: 1}
	}
	across := func(v r3.Vec) Lead { return Pair{PathMM: path, GapMM: 1, CurrentA: 1, Across: v}.Circuit() }
	return across(side), across(r3.Cross(along, side))
}
