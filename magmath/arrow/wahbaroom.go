package arrow

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// fitRoom is fit with the dip of the place sought about that of the reference:
// in a room they differ by degrees, and that is no fault of a pose. chi2 holds
// the prior's share.
func (s solver) fitRoom(poses []Pose, o ArrowOptions) (turn, bool) {
	at := func(dip float64) (turn, bool) {
		moved := make([]Pose, len(poses))
		for i, p := range poses {
			moved[i] = p.tipped(dip, o.Field)
		}
		t, ok := s.fit(moved)
		prior := dip / o.DipDeg * (dip / o.DipDeg)
		t.chi2, t.other, t.dipDeg = t.chi2+prior, t.other+prior, dip
		return t, ok
	}
	cost := func(dip float64) float64 {
		t, ok := at(dip)
		if !ok {
			return math.Inf(1)
		}
		return t.chi2
	}
	return at(Golden(cost, -dipReach*o.DipDeg, dipReach*o.DipDeg))
}

// tipped is the pose with the field of the place tipped; a pose without a
// name of ours keeps what it wants.
func (p Pose) tipped(dipDeg float64, field r3.Vec) Pose {
	if want, ok := p.Name.In(tipped(field, dipDeg)); ok {
		p.Want = want
	}
	return p
}

// tipped is the field with its dip enlarged.
func tipped(field r3.Vec, deg float64) r3.Vec {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	h := math.Hypot(field.X, field.Y)
	if h == 0 {
		return field
	}
	level := (h*cos - field.Z*sin) / h
	return r3.Vec{X: field.X * level, Y: field.Y * level, Z: field.Z*cos + h*sin}
}

// Golden is where f is least between low and high, for an f that falls and
// then rises, to a thousandth of the span.
// Source: golden-section search, Kiefer (1953).
func Golden(f func(float64) float64, low, high float64) float64 {
	const ratio = 0.6180339887498949
	a, b := high-ratio*(high-low), low+ratio*(high-low)
	fa, fb := f(a), f(b)
	for range 15 {
		if fa <= fb {
			high, b, fb = b, a, fa
			a = high - ratio*(high-low)
			fa = f(a)
		} else {
			low, a, fa = a, b, fb
			b = low + ratio*(high-low)
			fb = f(b)
		}
	}
	return (low + high) / 2
}
