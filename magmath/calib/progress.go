package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Progress follows a probe that is being turned: how much of the sphere of
// directions was shown, and where to turn next. It is cheap enough for every
// sample. The zero value is ready; ReferenceUT and Axes may be set before the
// first Add.
type Progress struct {
	ReferenceUT float64       // strength of the field, 0: not known
	Axes        *magmath.Mat3 // sensor axes to the case's, for the words; nil: the sensor's own

	kept     []r3.Vec // thinned by place
	about    gram
	centre   r3.Vec
	radius   float64
	sure     bool // centre and radius come of a sphere
	coverage Coverage
	last     r3.Vec
	samples  int
	fresh    int // kept since the last look
	low, up  r3.Vec
}

// keepUT is how far apart two readings must be to be both worth keeping, as a
// share of the radius; mostKept bounds what is kept.
const (
	keepShare = 0.06
	mostKept  = 3000
)

// Add takes a reading in sensor axes; one that is not finite is passed over.
func (p *Progress) Add(b r3.Vec) {
	if !magmath.FiniteVec(b) {
		return
	}
	if p.samples == 0 {
		p.low, p.up = b, b
		p.about.about = b
	}
	p.samples++
	p.low = r3.Vec{X: min(p.low.X, b.X), Y: min(p.low.Y, b.Y), Z: min(p.low.Z, b.Z)}
	p.up = r3.Vec{X: max(p.up.X, b.X), Y: max(p.up.Y, b.Y), Z: max(p.up.Z, b.Z)}
	p.last = b
	if len(p.kept) > 0 && len(p.kept) < mostKept && r3.Norm(r3.Sub(b, p.kept[len(p.kept)-1])) >= keepShare*p.size() || len(p.kept) == 0 {
		p.kept = append(p.kept, b)
		p.about.add(b)
		p.fresh++
	}
	if p.fresh >= max(12, len(p.kept)/8) {
		p.look()
	} else if p.radius > 0 {
		p.coverage.Add(r3.Sub(b, p.centre))
	}
}

// size is the radius as far as it is known.
func (p *Progress) size() float64 {
	switch {
	case p.radius > 0:
		return p.radius
	case p.ReferenceUT > 0:
		return p.ReferenceUT
	}
	return max(r3.Norm(r3.Sub(p.up, p.low))/2, 1e-9)
}

// look finds the centre anew and counts the kept readings about it. While the
// readings span no sphere yet the middle of their extremes must do.
func (p *Progress) look() {
	p.fresh = 0
	c, r, ok := p.about.sphere()
	span := min(p.up.X-p.low.X, min(p.up.Y-p.low.Y, p.up.Z-p.low.Z))
	if ok = ok && p.plausible(r) && span > 0.5*r; !ok {
		c = r3.Scale(0.5, r3.Add(p.low, p.up))
		r = p.ReferenceUT
		if !(r > 0) {
			r = max(p.up.X-p.low.X, max(p.up.Y-p.low.Y, p.up.Z-p.low.Z)) / 2
		}
	}
	p.centre, p.radius, p.sure = c, max(r, 1e-9), ok
	p.coverage = Coverage{}
	for _, b := range p.kept {
		p.coverage.Add(r3.Sub(b, c))
	}
}

// plausible keeps a sphere through a small patch from counting.
func (p *Progress) plausible(r float64) bool {
	reach := max(p.up.X-p.low.X, max(p.up.Y-p.low.Y, p.up.Z-p.low.Z))
	return r < 2*reach && !math.IsNaN(r)
}

// Covered is the share of the sphere that was shown, 0 to 1. Until the
// readings span a sphere it is at most a quarter: where they lie on it is not
// known yet.
func (p *Progress) Covered() float64 {
	f := p.coverage.Fraction()
	if !p.sure {
		return min(f, 0.25)
	}
	return f
}

// Coverage is the cells that were shown so far.
func (p *Progress) Coverage() Coverage { return p.coverage }

// Hint says how to turn the case from how it is held now so that the field
// enters the largest gap; ok is false when there is no gap or nothing came
// yet.
func (p *Progress) Hint() (h Hint, ok bool) {
	if p.samples == 0 || p.radius == 0 {
		return Hint{}, false
	}
	now := r3.Sub(p.last, p.centre)
	gap, ok := p.coverage.Gap(now)
	if !ok {
		return Hint{}, false
	}
	return HintTo(now, gap, p.Axes), true
}

// Now is the direction of the newest reading about the centre, in sensor axes,
// unit length; ok is false before a centre is known.
func (p *Progress) Now() (u r3.Vec, ok bool) {
	u = r3.Sub(p.last, p.centre)
	if p.radius == 0 || r3.Norm(u) == 0 {
		return r3.Vec{}, false
	}
	return r3.Unit(u), true
}
