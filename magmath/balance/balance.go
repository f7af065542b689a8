// Package balance computes masses, moments and centres of gravity, and what
// restores a centre of gravity that is out of its range: moving a part that
// can slide, or ballast.
//
// Masses are in grams and places in millimetres in the craft frame (x forward,
// y right, z down, from the builder's datum), but nothing depends on that: any
// two units serve. Whatever has no mass or no place is left out by the caller;
// a part that is forgotten is not noticed here.
package balance

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrNoMass says that there is nothing to balance.
var ErrNoMass = errors.New("no masses: nothing to balance")

// Mass is a part of the craft.
type Mass struct {
	Name string
	G    float64
	AtMM r3.Vec
}

// Centre is a sum of masses.
type Centre struct {
	MassG     float64
	MomentGMM r3.Vec // about the datum
	AtMM      r3.Vec // the centre of gravity: moment over mass
}

// Of is the sum of some masses. A mass that is negative or not finite, a place
// that is not, or a sum of zero is an error; ErrNoMass where there are none.
//
// Source: moment = weight x arm, CG = sum of moments / sum of weights: FAA
// Advisory Circular 43.13-1B, chapter 10.
func Of(masses ...Mass) (Centre, error) {
	var c Centre
	if len(masses) == 0 {
		return c, ErrNoMass
	}
	for _, m := range masses {
		if !(m.G >= 0) || math.IsInf(m.G, 0) {
			return Centre{}, fmt.Errorf("mass of %q is %v: masses are not negative", m.Name, m.G)
		}
		if s := m.AtMM.X + m.AtMM.Y + m.AtMM.Z; s-s != 0 {
			return Centre{}, fmt.Errorf("place of %q is not finite", m.Name)
		}
		c = c.With(m)
	}
	if !(c.MassG > 0) {
		return Centre{}, ErrNoMass
	}
	return c, nil
}

// With is c with one mass more.
func (c Centre) With(m Mass) Centre {
	c.MassG += m.G
	c.MomentGMM = r3.Add(c.MomentGMM, r3.Scale(m.G, m.AtMM))
	return c.divide()
}

// Without is c with one of its masses taken out.
func (c Centre) Without(m Mass) Centre {
	c.MassG -= m.G
	c.MomentGMM = r3.Sub(c.MomentGMM, r3.Scale(m.G, m.AtMM))
	return c.divide()
}

func (c Centre) divide() Centre {
	if c.MassG > 0 {
		c.AtMM = r3.Scale(1/c.MassG, c.MomentGMM)
	} else {
		c.AtMM = r3.Vec{X: math.NaN(), Y: math.NaN(), Z: math.NaN()}
	}
	return c
}

// Move is how far a part must move to move the centre of gravity by some
// distance: the craft's mass stays the same, and the part is not added to it.
// Infinite or NaN for a part without mass.
//
// Source: weight shifted / total weight = change of CG / distance shifted: FAA
// Pilot's Handbook of Aeronautical Knowledge, chapter on weight and balance.
func Move(totalG, movedG, wantedMM float64) float64 { return wantedMM * totalG / movedG }

// Range is where a coordinate of the centre of gravity may lie; either end may
// be infinite.
type Range struct{ Low, High float64 }

// Anywhere limits nothing.
func Anywhere() Range { return Range{math.Inf(-1), math.Inf(1)} }

// Off is what must be added to v to bring it to the nearer end of the range; 0
// inside.
func (r Range) Off(v float64) float64 {
	switch {
	case v < r.Low:
		return r.Low - v
	case v > r.High:
		return r.High - v
	}
	return 0
}

// Limits are the ranges of both coordinates.
type Limits struct{ X, Y Range }

// Holds reports whether the centre of gravity lies in the limits.
func (l Limits) Holds(c Centre) bool { return l.X.Off(c.AtMM.X) == 0 && l.Y.Off(c.AtMM.Y) == 0 }
