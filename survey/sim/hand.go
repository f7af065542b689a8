package sim

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Hand is how well the operator places the probe, and how fast he or she
// switches a load when told.
type Hand struct {
	TiltDeg float64 // standard deviation about each level axis
	YawDeg  float64 // standard deviation about the vertical
	PlaceMM float64 // standard deviation along x and along y
	LagS    float64 // from the prompt to the switch, mean
	LagSDS  float64 // its scatter from switch to switch
}

// DefaultHand returns a careful hand: 1.5 degrees, 2 mm, a quarter of a second.
func DefaultHand() Hand {
	return Hand{TiltDeg: 1.5, YawDeg: 1.5, PlaceMM: 2, LagS: 0.25, LagSDS: 0.08}
}

// Pose is one setting down of the probe: it stays until the probe is lifted.
type Pose struct {
	Turn magmath.Mat3 // craft frame to the frame of the case
	Slip r3.Vec       // from the mark, mm
}

// Place draws the pose of one visit.
func (h Hand) Place(rng *rand.Rand) Pose {
	n := Normal3(rng)
	v := r3.Scale(math.Pi/180, r3.Vec{X: h.TiltDeg * n.X, Y: h.TiltDeg * n.Y, Z: h.YawDeg * n.Z})
	slip := r3.Vec{X: h.PlaceMM * rng.NormFloat64(), Y: h.PlaceMM * rng.NormFloat64()}
	return Pose{Turn: rotation(v).Transpose(), Slip: slip}
}

// Backwards returns the pose with the arrow to the tail.
func (p Pose) Backwards() Pose {
	p.Turn = yaw(180).Mul(p.Turn)
	return p
}

// Lag draws the time from a prompt to the switch.
func (h Hand) Lag(rng *rand.Rand) float64 {
	return max(minLagS, h.LagS+h.LagSDS*rng.NormFloat64())
}

// minLagS: nobody reacts faster.
const minLagS = 0.02

// rotation returns the rotation by the angle |v| (radians) about v.
//
// Source: the formula of Rodrigues.
func rotation(v r3.Vec) magmath.Mat3 {
	angle := r3.Norm(v)
	if angle == 0 {
		return magmath.Identity()
	}
	k := magmath.Cross(r3.Scale(1/angle, v))
	s, c := math.Sincos(angle)
	return magmath.Identity().Add(k.Scale(s)).Add(k.Mul(k).Scale(1 - c))
}
