package sim

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// spin is a turn of the probe through all directions, in the air and away from
// the craft.
type spin struct{ fromS, tillS float64 }

// spins is how often the case turns about its own vertical meanwhile.
const spins = 9

// Tumble turns the probe through all directions for so many seconds, as for a
// calibration: held in the air, well away from the craft. Then it rests where
// it was.
func (b *Bench) Tumble(seconds float64) {
	b.spin = &spin{b.t, b.t + max(seconds, 0)}
}

// turned returns the pose in the middle of the turn: tipped over once about the
// right-hand side, turning about its own vertical all the while.
func (s *spin) turned(t float64) Pose {
	part := 2 * math.Pi * (t - s.fromS) / (s.tillS - s.fromS)
	about, over := rotation(r3.Vec{Z: spins * part}), rotation(r3.Vec{Y: part})
	return Pose{Turn: about.Mul(over)}
}
