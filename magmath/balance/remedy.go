package balance

import (
	"math"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// Slider is one of the craft's masses that can be moved fore and aft.
type Slider struct {
	Mass
	RangeMM Range // of its x
}

// Remedy is a way to bring a centre of gravity into its limits.
type Remedy struct {
	Needed bool // the centre is out of its limits

	MoveMM    float64 // move of the slider, forward positive
	Restored  bool    // the move alone restores it
	ShortMM   float64 // distance that the slide is too short by
	CGAfterMM r3.Vec  // of the craft after the move

	// The least ballast that restores the rest, at the edge of the craft, if the
	// move alone does not restore it. BallastG is NaN if none is needed or found.
	BallastG    float64
	BallastAtMM r2.Vec
}

// Restore returns the remedy: the shortest move of the slider, nil for none, then
// ballast. edge returns the distance from a place to the edge of the craft in the
// direction of a unit vector; it is nil if the outline is not known, and then no
// ballast is found.
//
// Ballast w at p brings the centre from c to t when w (p - t) = W (t - c), so
// that p lies beyond t as seen from c, and the farther the lighter.
func Restore(c Centre, l Limits, s *Slider, edge func(from, toward r2.Vec) float64) Remedy {
	r := Remedy{Needed: !l.Holds(c), CGAfterMM: c.AtMM, BallastG: math.NaN()}
	if !r.Needed {
		r.Restored = true
		return r
	}
	after := c
	if s != nil && s.G > 0 {
		wanted := move(c.MassG, s.G, l.X.Off(c.AtMM.X))
		to := min(max(s.AtMM.X+wanted, min(s.RangeMM.Low, s.AtMM.X)), max(s.RangeMM.High, s.AtMM.X))
		r.MoveMM = to - s.AtMM.X
		r.ShortMM = math.Abs(wanted - r.MoveMM)
		moved := s.Mass
		moved.AtMM.X = to
		after = c.without(s.Mass).With(moved)
		r.CGAfterMM = after.AtMM
	}
	// Within rounding.
	offX, offY := l.X.Off(after.AtMM.X), l.Y.Off(after.AtMM.Y)
	r.Restored = math.Abs(offX) < 1e-9 && math.Abs(offY) < 1e-9
	if !r.Restored {
		r.ballast(after, r2.Vec{X: offX, Y: offY}, edge)
	}
	return r
}

func (r *Remedy) ballast(c Centre, off r2.Vec, edge func(from, toward r2.Vec) float64) {
	if edge == nil {
		return
	}
	target := r2.Add(r2.Vec{X: c.AtMM.X, Y: c.AtMM.Y}, off)
	toward := r2.Unit(off)
	far := edge(target, toward)
	if !(far > 0) || math.IsInf(far, 0) {
		return
	}
	r.BallastG = c.MassG * r2.Norm(off) / far
	r.BallastAtMM = r2.Add(target, r2.Scale(far, toward))
}
