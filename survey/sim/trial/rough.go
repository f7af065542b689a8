package trial

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/survey/sim"
)

// How far a built craft is from its drawing. Common practice, no source.
const (
	sagMM       = 2.0 // of a lead off its straight run, a coordinate
	sagPieceMM  = 40  // pieces that a sagging run is made of, at most
	looseMM     = 0.4 // of one conductor beside the other, a coordinate
	sagWaves    = 4   // waves that a sag is the sum of, an axis
	magnetSlabs = 5   // dipoles in a row that a magnet of some length is made of
)

// Rough returns the same trial on a craft as hands build it, which keeps to none of
// the laws that sources are fitted by: leads sag by 2 mm and their conductors
// lie unevenly beside each other, magnets are 3 to 10 mm long, and where a
// lead ends the current runs once around a controller's board, a loop of 5 to
// 9 mm. The craft file says nothing of it.
func (t *Trial) Rough() *Trial {
	out, w := *t, *t.World
	rng := rand.New(rand.NewPCG(t.Seed, 0x70c6))
	w.Magnets, w.Wires = nil, nil
	for _, m := range t.World.Magnets {
		w.Magnets = append(w.Magnets, bar(m, 3+7*rng.Float64())...)
	}
	for _, c := range t.World.Wires {
		w.Wires = append(w.Wires, sagging(c, rng), board(c, rng))
	}
	out.World = &w
	return &out
}

// bar returns a magnet of some length along its moment.
func bar(m source.Dipole, lengthMM float64) []source.Dipole {
	var out []source.Dipole
	along := r3.Unit(m.MomentAm2)
	for i := range magnetSlabs {
		off := ((float64(i)+0.5)/magnetSlabs - 0.5) * lengthMM
		out = append(out, source.Dipole{AtMM: r3.Add(m.AtMM, r3.Scale(off, along)), MomentAm2: r3.Scale(1./magnetSlabs, m.MomentAm2)})
	}
	return out
}

// sagging returns a closed circuit off its straight runs. Conductors side by side
// sag together.
func sagging(c sim.Wire, rng *rand.Rand) sim.Wire {
	sag, path := waves(rng), c.Circuit.PathMM
	var out []r3.Vec
	for i := 1; i < len(path); i++ {
		d := r3.Sub(path[i], path[i-1])
		n := int(r3.Norm(d)/sagPieceMM) + 1
		for k := range n {
			p := r3.Add(path[i-1], r3.Scale(float64(k)/float64(n), d))
			out = append(out, r3.Add(r3.Add(p, sag(p)), r3.Scale(looseMM, sim.Normal3(rng))))
		}
	}
	c.Circuit.PathMM = append(out, out[0])
	return c
}

// waves returns a smooth random displacement: neighbouring places go together.
func waves(rng *rand.Rand) func(p r3.Vec) r3.Vec {
	type wave struct {
		along, number r3.Vec
		phase         float64
	}
	var all []wave
	for _, axis := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
		for range sagWaves {
			length := 80 + 120*rng.Float64()
			all = append(all, wave{
				along:  r3.Scale(sagMM*math.Sqrt(2./sagWaves), axis),
				number: r3.Scale(2*math.Pi/length, r3.Unit(sim.Normal3(rng))),
				phase:  2 * math.Pi * rng.Float64(),
			})
		}
	}
	return func(p r3.Vec) r3.Vec {
		var sum r3.Vec
		for _, w := range all {
			sum = r3.Add(sum, r3.Scale(math.Sin(r3.Dot(w.number, p)+w.phase), w.along))
		}
		return sum
	}
}

// board returns the loop around a controller's board at the far end of a circuit.
func board(c sim.Wire, rng *rand.Rand) sim.Wire {
	path := c.Circuit.PathMM
	at := r3.Add(path[(len(path)-1)/2], r3.Scale(5, sim.Normal3(rng)))
	u := r3.Unit(sim.Normal3(rng))
	v := r3.Unit(r3.Cross(u, sim.Normal3(rng)))
	half := (5 + 4*rng.Float64()) / 2
	corner := func(a, b float64) r3.Vec {
		return r3.Add(at, r3.Add(r3.Scale(a*half, u), r3.Scale(b*half, v)))
	}
	c.Circuit.PathMM = []r3.Vec{corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1), corner(-1, -1)}
	return c
}
