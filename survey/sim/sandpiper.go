package sim

import (
	_ "embed"
	"fmt"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/craftfile"
)

//go:embed sandpiper.toml
var sandpiperTOML []byte

// SandpiperTOML returns the craft file of the invented catamaran.
func SandpiperTOML() []byte { return append([]byte(nil), sandpiperTOML...) }

// Sandpiper returns the invented catamaran on an invented bench. Its craft file
// names the hatch magnet, the battery and both leads; a magnet that nobody
// wrote down sits in the right hull. The seed varies strengths and places a
// little, and the room.
func Sandpiper(seed uint64) (*World, error) {
	craft, err := craftfile.Parse(sandpiperTOML, "sandpiper.toml")
	if err != nil {
		return nil, fmt.Errorf("simulated craft: %w", err)
	}
	rng := rand.New(rand.NewPCG(seed, 0x5a4d))
	about := func(v float64) float64 { return v * (1 + 0.1*rng.NormFloat64()) }
	w := &World{Craft: craft, NoseDeg: 40}
	w.Magnets = []source.Dipole{
		{AtMM: r3.Vec{X: 110, Z: -10}, MomentAm2: r3.Vec{X: about(0.004), Z: about(-0.022)}},
		{AtMM: r3.Vec{X: 60, Z: 40}, MomentAm2: r3.Vec{X: about(0.05), Y: about(-0.02), Z: about(0.03)}},
		{AtMM: r3.Vec{X: about(-160), Y: about(95), Z: 25}, MomentAm2: r3.Vec{X: about(0.03), Y: about(0.06), Z: about(-0.04)}},
	}
	w.Irons = []source.SoftIron{{AtMM: r3.Vec{X: 60, Z: 40}, Polarizability: source.SpherePolarizability(26, 300)}}
	for side, load := range []string{"left thruster", "right thruster"} {
		y := float64(240*side - 120)
		path := []r3.Vec{{X: 60, Z: 40}, {X: -280, Y: y, Z: 60}}
		pair := source.Pair{PathMM: path, GapMM: 12 + 0.3*rng.NormFloat64(), CurrentA: 1, Across: r3.Vec{Y: 1, Z: 0.6 + 0.1*rng.NormFloat64()}}
		w.Wires = append(w.Wires, Wire{Load: load, Circuit: pair.Circuit()})
	}
	w.Room = IndoorRoom(rng, craft.Site)
	return w, nil
}

// IndoorRoom draws an ordinary room at the site: a few per cent off the reference, a
// gradient of some microtesla a metre, a slow wandering.
func IndoorRoom(rng *rand.Rand, site survey.Site) Room {
	r := Room{Reference: Reference(site)}
	r.Offset = r3.Scale(0.02*r3.Norm(r.Reference), Normal3(rng))
	r.Gradient = HarmonicGradient(rng, 0.0015)
	r.Drift = RandomWalk(rng, 0.4)
	r.Drift.Waves = append(r.Drift.Waves, Wave{AmplitudeUT: r3.Scale(0.15, Normal3(rng)), PeriodS: 900 + 900*rng.Float64()})
	return r
}

// Reference returns the reference field at the site, with x to magnetic north, in
// microtesla. Without a date it is that of mid 2026.
func Reference(site survey.Site) r3.Vec {
	e := site.Field(time.Date(2026, 7, 2, 12, 0, 0, 0, time.UTC))
	return r3.Vec{X: e.H / 1000, Z: e.Z / 1000}
}

// HUT returns the horizontal part of the reference field, microtesla.
func (w *World) HUT() float64 { return w.Room.Reference.X }
