package trial

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/survey/sim"
)

// magnets draws two to four; the first carries the complication.
func (g *generator) magnets(t *Trial) {
	for i := range 2 + g.rng.IntN(3) {
		at := g.under(12, 70)
		if i == 0 {
			at = g.complicated(t.Complication, at)
		}
		m := r3.Scale(0.02*math.Pow(15, g.rng.Float64()), r3.Unit(sim.Normal3(g.rng)))
		t.World.Magnets = append(t.World.Magnets, source.Dipole{AtMM: at, MomentAm2: m})
		if g.named() {
			q := g.measured(at)
			g.printf("[[part]]\nname = \"magnet %d\"\nat_mm = [%.0f, %.0f, %.0f]\nmass_g = 5\nmagnetic = true\n\n", i+1, q.X, q.Y, q.Z)
		}
	}
}

func (g *generator) complicated(c Complication, at r3.Vec) r3.Vec {
	switch c {
	case Hatch:
		at.Z = g.surface - g.sensor + g.between(6, 16)
	case Pod:
		edge := g.outline[g.rng.IntN(len(g.outline))]
		out := r2.Scale(1+g.between(20, 60)/r2.Norm(edge), edge)
		at = r3.Vec{X: out.X, Y: out.Y, Z: g.surface + g.between(-20, 10)}
	}
	return at
}

// mast adds two stations above the deck and a magnet between them and it.
func (g *generator) mast(w *sim.World) {
	foot := g.inside()
	for i, up := range []float64{110, 200} {
		g.printf("[[station]]\nname = \"mast %d\"\nat_mm = [%.0f, %.0f, %.0f]\n\n", i+1, foot.X, foot.Y, g.surface-up)
	}
	m := r3.Scale(g.between(0.02, 0.08), r3.Unit(sim.Normal3(g.rng)))
	w.Magnets = append(w.Magnets, source.Dipole{AtMM: r3.Vec{X: foot.X + 8, Y: foot.Y, Z: g.surface - g.between(50, 80)}, MomentAm2: m})
}

func (g *generator) named() bool { return g.rng.Float64() < 0.6 }

// measured returns a place as the builder writes it: to 2 mm.
func (g *generator) measured(p r3.Vec) r3.Vec {
	return r3.Add(p, r3.Scale(2, sim.Normal3(g.rng)))
}

// leads draws one or two pairs, each a load of its own, that may run together.
func (g *generator) leads(w *sim.World) {
	n := 1 + g.rng.IntN(2)
	start := g.under(20, 60)
	for i := range n {
		name := fmt.Sprintf("motor %d", i+1)
		path := g.path(start)
		gap := g.between(6, 22)
		pair := source.Pair{PathMM: path, GapMM: gap, CurrentA: 1, Across: sim.Normal3(g.rng)}
		w.Wires = append(w.Wires, sim.Wire{Load: name, Circuit: pair.Circuit()})
		g.printf("[[load]]\nname = %q\nkind = \"current\"\nmax_current_a = %.1f\n", name, g.between(12, 38))
		if n == 2 {
			g.printf("together_with = [\"motor %d\"]\n", 2-i)
		}
		g.printf("\n")
		if g.named() {
			g.namedLead(name, path, gap)
		}
	}
}

// path runs from the battery to a motor at least 120 mm away, at times around
// a corner.
func (g *generator) path(start r3.Vec) []r3.Vec {
	end := g.under(20, 60)
	for range 1000 {
		if r3.Norm(r3.Sub(end, start)) >= 120 {
			break
		}
		end = g.under(20, 60)
	}
	if g.rng.Float64() < 0.5 {
		return []r3.Vec{start, end}
	}
	return []r3.Vec{start, g.under(20, 60), end}
}

func (g *generator) namedLead(load string, path []r3.Vec, gap float64) {
	g.printf("[[part]]\nname = \"lead of %s\"\nload = %q\ngap_mm = %.0f\npath_mm = [", load, load, gap)
	for i, p := range path {
		if i > 0 {
			g.printf(", ")
		}
		q := g.measured(p)
		g.printf("[%.0f, %.0f, %.0f]", q.X, q.Y, q.Z)
	}
	g.printf("]\n\n")
}
