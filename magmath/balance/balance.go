// Package balance computes centres of gravity and their remedies. What comes in
// are masses with their places and the limits of the centre; what goes out is
// the centre, and the move of a part or the ballast that brings it into its
// limits.
//
// Masses are in grams and places in millimetres in the craft frame (x forward,
// y right, z down, from the builder's datum). The caller leaves out parts
// without mass or place.
//
// Start reading at Of and Restore.
package balance

import (
	"errors"
	"fmt"
	"math"
	"quietmount/magmath"

	"gonum.org/v1/gonum/spatial/r3"
)

// ErrNoMass is returned if there are no masses or their sum is zero.
var ErrNoMass = errors.New("no masses: nothing to balance")

// Mass is a part of the craft.
type Mass struct {
	Name string
	G    float64
	AtMM r3.Vec
}

// Centre is a sum of masses with its centre of gravity.
type Centre struct {
	MassG     float64
	MomentGMM r3.Vec // about the datum
	AtMM      r3.Vec // the centre of gravity: moment over mass
}

// Of returns the sum of masses. The error is ErrNoMass, or names a mass that is
// negative or not finite or whose place is not finite.
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
		if !magmath.FiniteVec(m.AtMM) {
			return Centre{}, fmt.Errorf("place of %q is not finite", m.Name)
		}
		c = c.With(m)
	}
	if !(c.MassG > 0) {
		return Centre{}, ErrNoMass
	}
	return c, nil
}

// With returns c with one mass more.
func (c Centre) With(m Mass) Centre {
	c.MassG += m.G
	c.MomentGMM = r3.Add(c.MomentGMM, r3.Scale(m.G, m.AtMM))
	return c.divide()
}

// without returns c less one of its masses.
func (c Centre) without(m Mass) Centre {
	c.MassG -= m.G
	c.MomentGMM = r3.Sub(c.MomentGMM, r3.Scale(m.G, m.AtMM))
	return c.divide()
}

// divide returns c with its centre set from moment and mass, NaN without mass.
func (c Centre) divide() Centre {
	if c.MassG > 0 {
		c.AtMM = r3.Scale(1/c.MassG, c.MomentGMM)
	} else {
		c.AtMM = r3.Vec{X: math.NaN(), Y: math.NaN(), Z: math.NaN()}
	}
	return c
}

// move returns the distance, millimetres, by which a part of the craft must move
// to move the centre of gravity by wantedMM.
//
// Source: weight shifted / total weight = change of CG / distance shifted: FAA
// Pilot's Handbook of Aeronautical Knowledge, chapter on weight and balance.
func move(totalG, movedG, wantedMM float64) float64 { return wantedMM * totalG / movedG }

// Range is the allowed range of a coordinate, ends included; either end may be
// infinite.
type Range struct{ Low, High float64 }

// Anywhere returns the range without limits.
func Anywhere() Range { return Range{math.Inf(-1), math.Inf(1)} }

// Off returns the distance from v to the nearer end of the range, negative if v
// is too large; 0 inside.
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
