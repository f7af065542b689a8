// Package contour finds the lines of equal value through a lattice of numbers, and
// the values between its nodes. In comes a Lattice, out go lines (Lines), values
// (Bilinear) or a finer lattice (Refined). It knows neither craft nor unit nor
// paper.
package contour

import "gonum.org/v1/gonum/spatial/r2"

// Lattice holds values at evenly spaced nodes: column i at X0 + i*DX, row j at
// Y0 + j*DY. All values must be finite.
type Lattice struct {
	X0, Y0, DX, DY float64
	NX, NY         int
	V              []float64 // row by row
}

// At returns the value of column i and row j.
func (l *Lattice) At(i, j int) float64 { return l.V[j*l.NX+i] }

// Place returns the place of column i and row j.
func (l *Lattice) Place(i, j int) r2.Vec {
	return r2.Vec{X: l.X0 + float64(i)*l.DX, Y: l.Y0 + float64(j)*l.DY}
}

// edge is the edge from node i, j to the next node in its row, or in its column if
// up.
type edge struct {
	i, j int
	up   bool
}

// Lines returns the lines along which the lattice, linear along its edges, has the
// value level. Open lines end on the rim, closed ones repeat their first point. The
// higher side is on the left. Every point of a line lies on an edge, and no edge is
// used twice.
// Source: marching squares; the saddle is settled by the mean of its corners.
func (l *Lattice) Lines(level float64) [][]r2.Vec {
	next := map[edge]edge{}
	entered := map[edge]bool{}
	var order []edge
	for j := range l.NY - 1 {
		for i := range l.NX - 1 {
			for _, s := range l.segments(i, j, level) {
				next[s[0]] = s[1]
				entered[s[1]] = true
				order = append(order, s[0])
			}
		}
	}
	var lines [][]r2.Vec
	follow := func(from edge) {
		line := []r2.Vec{l.crossing(from, level)}
		for e := from; ; {
			n, ok := next[e]
			if !ok {
				break
			}
			delete(next, e)
			line = append(line, l.crossing(n, level))
			e = n
		}
		if len(line) > 1 {
			lines = append(lines, line)
		}
	}
	for _, e := range order {
		if !entered[e] {
			follow(e)
		}
	}
	for _, e := range order {
		follow(e)
	}
	return lines
}

// segments returns the pieces of line in a cell, each from edge to edge.
func (l *Lattice) segments(i, j int, level float64) [][2]edge {
	v := [4]float64{l.At(i, j), l.At(i+1, j), l.At(i+1, j+1), l.At(i, j+1)}
	sides := [4]edge{{i, j, false}, {i + 1, j, true}, {i, j + 1, false}, {i, j, true}}
	var in, out []edge // counterclockwise: where the values fall below and rise to the level
	for k := range 4 {
		a, b := v[k] >= level, v[(k+1)%4] >= level
		switch {
		case a && !b:
			in = append(in, sides[k])
		case !a && b:
			out = append(out, sides[k])
		}
	}
	switch len(in) {
	case 1:
		return [][2]edge{{in[0], out[0]}}
	case 2:
		middle := (v[0] + v[1] + v[2] + v[3]) / 4
		// A high middle joins the high corners, each line then cuts off a low one.
		if (v[0] >= level) == (middle >= level) {
			return [][2]edge{{in[0], out[0]}, {in[1], out[1]}}
		}
		return [][2]edge{{in[0], out[1]}, {in[1], out[0]}}
	}
	return nil
}

// crossing returns the place where an edge has the value level.
func (l *Lattice) crossing(e edge, level float64) r2.Vec {
	i, j := e.i+1, e.j
	if e.up {
		i, j = e.i, e.j+1
	}
	a, b := l.At(e.i, e.j), l.At(i, j)
	t := 0.5
	if a != b {
		t = (level - a) / (b - a)
	}
	p := l.Place(e.i, e.j)
	return r2.Add(p, r2.Scale(t, r2.Sub(l.Place(i, j), p)))
}
