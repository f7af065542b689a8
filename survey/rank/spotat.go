package rank

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/siting"
	"quietmount/survey/evaluate"
)

// heightSlackMM is how far a height given by hand may be from one that the
// craft file allows and still be it.
const heightSlackMM = 0.5

// SpotAt describes a place by hand as Rank describes its own: Rank 0, told
// from no other. At is the surface under the middle of the foot; a z above
// the mounting surface is a mounting height. Broken names the constraints that
// keep the module from there, none if nothing does. ErrNoMap where nothing
// can be said; a place that is not finite or under the surface is an error.
func SpotAt(f *evaluate.Findings, at r3.Vec) (s *Spot, broken []string, err error) {
	if f.Map == nil || (f.Map.Steady == nil && len(f.Map.Loads) == 0) {
		return nil, nil, ErrNoMap
	}
	r := newRanker(f, RankOptions{}.withDefaults())
	height := r.s.at(r2.Vec{X: at.X, Y: at.Y}).Z - at.Z
	switch {
	case math.IsNaN(height) || math.IsInf(height, 0):
		return nil, nil, fmt.Errorf("place %g, %g, %g: it is not finite", at.X, at.Y, at.Z)
	case height < -heightSlackMM:
		return nil, nil, fmt.Errorf("place %g, %g, %g lies %.0f mm under the mounting surface (z is down: the surface is at z = %.0f there)", at.X, at.Y, at.Z, -height, at.Z+height)
	case height < heightSlackMM:
		height = 0
	}
	p := siting.Place{At: r2.Vec{X: at.X, Y: at.Y}, HeightMM: height}
	r.cands = []siting.Candidate{{Place: p}}
	for _, c := range r.constraints() {
		if !c.Allows(p) {
			broken = append(broken, c.Name)
		}
	}
	if allowed := f.Craft.Heights; height > 0 && !slices.ContainsFunc(allowed, func(h float64) bool { return math.Abs(h-height) < heightSlackMM }) {
		broken = append(broken, "mounting height")
	}
	out := r.spot(0)
	return &out, broken, nil
}

// ErrNoSuchSpot says that the ranking has no spot of that number.
var ErrNoSuchSpot = errors.New("no such spot")

// Place is a place where a module may stand: the surface under the middle of
// its foot, and how far it stands above it.
type Place struct {
	At       r3.Vec
	HeightMM float64
}

// Foot is the point under the foot itself, whatever it stands on.
func (p Place) Foot() r3.Vec { return r3.Vec{X: p.At.X, Y: p.At.Y, Z: p.At.Z - p.HeightMM} }

// SpotPlace is the place of the ranked spot of a number, 1 for the first.
func (r *Ranking) SpotPlace(number int) (Place, error) {
	for _, s := range r.Spots {
		if s.Rank == number {
			return Place{s.At, s.HeightMM}, nil
		}
	}
	return Place{}, fmt.Errorf("%w as %d: the ranking has %d", ErrNoSuchSpot, number, len(r.Spots))
}
