package calib

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// A Hint tells the hand how to turn the case.
type Hint struct {
	Direction r3.Vec  // where in sensor axes the field is wanted, unit length
	Turn      r3.Vec  // axis of the turn of the case, in the case's axes (arrow, right, label's underside), unit length
	AngleDeg  float64 // of that turn
	Words     string  // "tip the arrow down and left, about 60 degrees"
}

// HintTo is the shortest turn of the case that brings a field seen at now to
// the direction want, both in sensor axes. axes turns sensor axes into the
// case's: the arrow, its right, and down when the case lies level; nil: the
// sensor's own. The field stays where it is in the room, so in the case it
// moves against the turn. A direction that is opposite leaves the way open;
// the arrow is then tipped down. Directions without length give no words.
func HintTo(now, want r3.Vec, axes *magmath.Mat3) Hint {
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
	h.Words = turnWords(h.Turn, h.AngleDeg)
	return h
}

// turnWords names the parts of a turn that matter: about the arrow (x), about
// the right-hand side (y) and about down (z), by the right-hand rule.
func turnWords(axis r3.Vec, deg float64) string {
	const matters = 0.4
	upDown, leftRight, side := "", "", ""
	if math.Abs(axis.Y) > matters {
		upDown = either(axis.Y > 0, "up", "down")
	}
	if math.Abs(axis.Z) > matters {
		leftRight = either(axis.Z > 0, "right", "left")
	}
	if math.Abs(axis.X) > matters {
		side = "roll the " + either(axis.X > 0, "right", "left") + " side down"
	}
	words := ""
	switch {
	case upDown != "" && leftRight != "":
		words = "tip the arrow " + upDown + " and " + leftRight
	case upDown != "":
		words = "tip the arrow " + upDown
	case leftRight != "":
		words = "turn the arrow " + leftRight
	}
	if side != "" && words != "" {
		words += " and "
	}
	return fmt.Sprintf("%s, about %.0f degrees", words+side, math.Ceil(deg/10)*10)
}

func either(yes bool, a, b string) string {
	if yes {
		return a
	}
	return b
}
