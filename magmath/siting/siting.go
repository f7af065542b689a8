// Package siting chooses among places where a module could be mounted. What comes
// in are a rectangle, constraints and costs as functions of a place; what goes
// out are candidates on a grid with the constraints that forbid them (Screen),
// local optima apart from one another (Optima), how precisely a place must be
// hit (Tolerance) and where the next measurements help most (Next).
//
// Start reading at Lay and Screen.
//
// Frame: the craft's, x forward, y right, z down, millimetres. A place is a
// point (x, y) of the surface under the middle of the module's foot and a
// height at which the module stands above it.
package siting

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
)

// Place is a candidate.
type Place struct {
	At       r2.Vec
	HeightMM float64
}

// Grid is a lattice of nodes at equal steps along x and y.
type Grid struct {
	From   r2.Vec // the first node
	StepMM float64
	NX, NY int
}

// Lay covers the rectangle from low to high with nodes stepMM apart, or farther
// apart where that would take more than limit nodes. The nodes lie symmetrically
// in the rectangle. A rectangle without area gets a line or a point, one that is
// not finite the point low; a step that is not positive and finite counts as
// 8 mm, a limit below one as one.
func Lay(low, high r2.Vec, stepMM float64, limit int) Grid {
	if !(stepMM > 0) || math.IsInf(stepMM, 1) {
		stepMM = 8
	}
	size := r2.Sub(high, low)
	if s := size.X + size.Y; math.IsNaN(s) || math.IsInf(s, 0) {
		return Grid{From: low, StepMM: stepMM, NX: 1, NY: 1}
	}
	size = r2.Vec{X: max(0, size.X), Y: max(0, size.Y)}
	limit = max(1, limit)
	for {
		nx, ny := steps(size.X, stepMM), steps(size.Y, stepMM)
		if nx*ny <= float64(limit) {
			margin := r2.Vec{X: (size.X - (nx-1)*stepMM) / 2, Y: (size.Y - (ny-1)*stepMM) / 2}
			return Grid{From: r2.Add(low, margin), StepMM: stepMM, NX: int(nx), NY: int(ny)}
		}
		stepMM *= max(1.02, math.Sqrt(nx*ny/float64(limit))*0.98)
	}
}

func steps(length, step float64) float64 { return math.Floor(length/step+1e-9) + 1 }

// Len returns the number of nodes.
func (g Grid) Len() int { return g.NX * g.NY }

// At returns node k; x runs fastest.
func (g Grid) At(k int) r2.Vec {
	return r2.Vec{X: g.From.X + float64(k%g.NX)*g.StepMM, Y: g.From.Y + float64(k/g.NX)*g.StepMM}
}

// ConstraintName names a constraint: by its kind, and by a name where there may be
// several of the kind.
type ConstraintName struct{ Kind, Name string }

// String returns kind and name, separated by a space.
func (n ConstraintName) String() string {
	if n.Name == "" {
		return n.Kind
	}
	return n.Kind + " " + n.Name
}

// MarshalText returns the text of String, so that the name may be a key in JSON.
func (n ConstraintName) MarshalText() ([]byte, error) { return []byte(n.String()), nil }

// Constraint is something that may forbid a place.
type Constraint struct {
	Name   ConstraintName
	Allows func(Place) bool
}

// Candidate is a place on the grid with the constraints that forbid it.
type Candidate struct {
	Place
	Node   int
	Broken []int // indices of the constraints that forbid it; empty: free
}

// Screen returns every node for which on holds, once at every height, with the
// constraints that forbid it, and by constraint the fraction of these nodes that
// it forbids at all heights.
func Screen(g Grid, heights []float64, on func(r2.Vec) bool, cs []Constraint) ([]Candidate, map[ConstraintName]float64) {
	var out []Candidate
	taken, nodes := make([]int, len(cs)), 0
	for k := range g.Len() {
		at := g.At(k)
		if !on(at) {
			continue
		}
		nodes++
		broken := make([]int, len(cs))
		for _, h := range heights {
			c := Candidate{Place: Place{at, h}, Node: k}
			for i := range cs {
				if !cs[i].Allows(c.Place) {
					c.Broken = append(c.Broken, i)
					broken[i]++
				}
			}
			out = append(out, c)
		}
		for i, n := range broken {
			if n == len(heights) {
				taken[i]++
			}
		}
	}
	excluded := make(map[ConstraintName]float64, len(cs))
	for i, c := range cs {
		if nodes > 0 {
			excluded[c.Name] = float64(taken[i]) / float64(nodes)
		}
	}
	return out, excluded
}

// CableLength returns the length of a cable from its start along the points that
// it must pass, then straight to the place and up to its height, millimetres.
func CableLength(from r2.Vec, via []r2.Vec, to Place) float64 {
	length, here := 0.0, from
	for _, v := range via {
		length += r2.Norm(r2.Sub(v, here))
		here = v
	}
	return length + r2.Norm(r2.Sub(to.At, here)) + math.Abs(to.HeightMM)
}
