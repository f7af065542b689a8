package swing

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath/heading"
	"quietmount/magmath/swing"
)

// Change is how a coefficient changed from one swing to another, degrees.
type Change struct {
	Name   string
	By     float64
	SU     float64
	PValue float64 // of so much by chance
}

// Changes compares two swings, coefficient by coefficient, approximate form. A
// is left out where one of them knew only relative headings.
func Changes(before, after swing.Result, withA bool) []Change {
	pairs := []struct {
		name      string
		old, new  float64
		oldS, nwS float64
	}{
		{"A", before.Approximate.A, after.Approximate.A, before.ApproxSU.A, after.ApproxSU.A},
		{"B", before.Approximate.B, after.Approximate.B, before.ApproxSU.B, after.ApproxSU.B},
		{"C", before.Approximate.C, after.Approximate.C, before.ApproxSU.C, after.ApproxSU.C},
		{"D", before.Approximate.D, after.Approximate.D, before.ApproxSU.D, after.ApproxSU.D},
		{"E", before.Approximate.E, after.Approximate.E, before.ApproxSU.E, after.ApproxSU.E},
	}
	if !withA {
		pairs = pairs[1:]
	}
	var out []Change
	for _, p := range pairs {
		c := Change{Name: p.name, By: p.new - p.old, SU: math.Hypot(p.oldS, p.nwS)}
		if p.name == "A" {
			c.By = heading.Wrap180(c.By)
		}
		t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom(p.oldS, before.DF, p.nwS, after.DF)}
		c.PValue = 2 * t.Survival(math.Abs(c.By)/c.SU)
		out = append(out, c)
	}
	return out
}

// freedom returns the degrees of freedom of the difference of two independent
// estimates of standard uncertainties u and v: between the fewer of the two and
// both together.
//
// Source: the Welch-Satterthwaite formula, JCGM 100:2008 (GUM), G.4.
func freedom(u, ofU, v, ofV float64) float64 {
	u, v = u*u, v*v
	return (u + v) * (u + v) / (u*u/ofU + v*v/ofV)
}
