package rank

import (
	"errors"
	"fmt"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey/logbook"
)

// Mount is the place of a module: the point of the surface under the middle of
// its foot, craft frame, mm, and the height at which it stands above it.
type Mount struct {
	At       r3.Vec
	HeightMM float64
}

// Foot returns the point directly under the foot, HeightMM above the surface,
// craft frame, mm.
func (m Mount) Foot() r3.Vec { return r3.Vec{X: m.At.X, Y: m.At.Y, Z: m.At.Z - m.HeightMM} }

// Mount returns where the module stands at the spot.
func (s Spot) Mount() Mount { return Mount{s.At, s.HeightMM} }

// ErrNoSuchSpot reports a number that is not in the ranking.
var ErrNoSuchSpot = errors.New("no such spot")

// Mount returns where the module stands at the spot of a number, 1 for the first.
// The error wraps ErrNoSuchSpot.
func (r *Ranking) Mount(number int) (Mount, error) {
	for _, s := range r.Spots {
		if s.Rank == number {
			return s.Mount(), nil
		}
	}
	return Mount{}, fmt.Errorf("%w: the ranking has %d", ErrNoSuchSpot, len(r.Spots))
}

// ChosenMount returns where the module stands by a stored choice.
func ChosenMount(c *logbook.Choice) Mount { return Mount{At: c.At(), HeightMM: c.Spot.HeightMM} }
