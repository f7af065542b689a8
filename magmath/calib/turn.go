package calib

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// Progress follows a probe while it is turned: the share of the sphere of
// directions that was shown, and the next turn. Add is cheap enough for every
// sample. The zero value is ready; ReferenceUT and Axes may be set before the
// first Add.
type Progress struct {
	ReferenceUT float64       // strength of the field, 0: not known
	Axes        *magmath.Mat3 // sensor axes to the case's, for the words; nil: the sensor's own

	kept     []r3.Vec // thinned by place
	about    gram
	centre   r3.Vec
	radius   float64
	sure     bool // centre and radius are those of a sphere
	coverage Coverage
	last     r3.Vec
	samples  int
	fresh    int // readings kept since the last look
	low, up  r3.Vec
}

// keepShare is the distance from the last kept reading, as a share of the radius,
// from which on a reading is kept; mostKept is the largest number kept.
const (
	keepShare = 0.06
	mostKept  = 3000
)

// Add takes a reading in sensor axes, microtesla. It ignores one that is not
// finite.
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

// size returns the radius as far as it is known.
func (p *Progress) size() float64 {
	switch {
	case p.radius > 0:
		return p.radius
	case p.ReferenceUT > 0:
		return p.ReferenceUT
	}
	return max(r3.Norm(r3.Sub(p.up, p.low))/2, 1e-9)
}

// look finds the centre again and counts the kept readings about it. Until the
// readings span a sphere the centre is the middle of their extremes.
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

// plausible reports whether a sphere of radius r is more than the sphere through a
// small patch.
func (p *Progress) plausible(r float64) bool {
	reach := max(p.up.X-p.low.X, max(p.up.Y-p.low.Y, p.up.Z-p.low.Z))
	return r < 2*reach && !math.IsNaN(r)
}

// Covered returns the share of the sphere that was shown, 0 to 1. Until the
// readings span a sphere it is at most a quarter, as their places on it are not
// known.
func (p *Progress) Covered() float64 {
	f := p.coverage.fraction()
	if !p.sure {
		return min(f, 0.25)
	}
	return f
}

// Coverage returns the cells that were shown so far.
func (p *Progress) Coverage() Coverage { return p.coverage }

// Hint returns the turn of the case, from its attitude at the newest reading,
// that brings the field into the largest gap; ok is false without a gap or
// before a centre is known.
func (p *Progress) Hint() (h Hint, ok bool) {
	if p.samples == 0 || p.radius == 0 {
		return Hint{}, false
	}
	now := r3.Sub(p.last, p.centre)
	gap, ok := p.coverage.gap(now)
	if !ok {
		return Hint{}, false
	}
	return hintTo(now, gap, p.Axes), true
}

// Now returns the direction of the newest reading from the centre, in sensor
// axes, unit length; ok is false before a centre is known.
func (p *Progress) Now() (u r3.Vec, ok bool) {
	u = r3.Sub(p.last, p.centre)
	if p.radius == 0 || r3.Norm(u) == 0 {
		return r3.Vec{}, false
	}
	return r3.Unit(u), true
}

// A Hint is the turn of the case that the operator should make next.
type Hint struct {
	Direction r3.Vec  // wanted direction of the field in sensor axes, unit length
	Turn      r3.Vec  // axis of the turn of the case, in the case's axes (arrow, right, label's underside), unit length
	AngleDeg  float64 // of that turn
}

// hintTo returns the shortest turn of the case that brings a field from now to
// the direction want, both in sensor axes. axes turns sensor axes into the
// case's: the arrow, its right, and down when the case lies level; nil: the
// sensor's own. The field is fixed in the room, so in the case it moves against
// the turn. Between opposite directions any axis at right angles serves: the
// arrow is then tipped down. Directions without length give no turn.
func hintTo(now, want r3.Vec, axes *magmath.Mat3) Hint {
	h := Hint{Direction: want}
	if !(r3.Norm(now) > 0) || !(r3.Norm(want) > 0) || !magmath.FiniteVec(now) || !magmath.FiniteVec(want) {
		return h
	}
	h.Direction = r3.Unit(want)
	a, b := r3.Unit(now), h.Direction
	if axes != nil {
		a, b = r3.Unit(axes.Apply(a)), r3.Unit(axes.Apply(b))
	}
	// The case turns by +t about b x a, the field in it by -t: from a to b.
	h.AngleDeg = angle(a, b) * 180 / math.Pi
	h.Turn = r3.Cross(b, a)
	if r3.Norm(h.Turn) < 1e-6 {
		h.Turn = r3.Cross(a, r3.Cross(r3.Vec{Y: -1}, a)) // tip the arrow down, as far as that moves the field
		if r3.Norm(h.Turn) < 1e-6 {
			h.Turn = r3.Vec{X: 1}
		}
	}
	h.Turn = r3.Unit(h.Turn)
	return h
}

// Remark returns the turn as "calib.turn", zero where there is none.
func (h Hint) Remark() remark.Remark {
	if !(h.AngleDeg > 0) {
		return remark.Remark{}
	}
	return remark.New("calib.turn", h.values())
}

// values names the parts of the turn that matter: pitch is where the arrow goes,
// "up" or "down"; yaw is "left" or "right"; roll is the side that goes down. Each
// is empty where it does not matter. The angle is rounded up to tens of degrees.
func (h Hint) values() remark.Values {
	const matters = 0.4
	part := func(v float64, positive, negative string) string {
		switch {
		case v > matters:
			return positive
		case v < -matters:
			return negative
		}
		return ""
	}
	return remark.Values{
		"pitch": part(h.Turn.Y, "up", "down"), "yaw": part(h.Turn.Z, "right", "left"), "roll": part(h.Turn.X, "right", "left"),
		"angle_deg": math.Ceil(h.AngleDeg/10) * 10,
	}
}
