package sim

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/source"
)

// Room is the field of the place without the craft. Its frame is level, x to
// magnetic north, z down, its origin at the craft's datum: it stays when the
// craft turns.
type Room struct {
	Reference r3.Vec          // the reference field, microtesla: (H, 0, Z)
	Offset    r3.Vec          // what the building adds at the datum
	Gradient  magmath.Mat3    // microtesla per millimetre; symmetric and without trace, or it is no magnetic field
	Iron      []source.Dipole // radiators, beams: far from the bench
	Drift     Drift
}

// Field returns the room's field at p (craft frame) with the nose at noseDeg, in
// the craft frame, without drift.
func (r Room) Field(p r3.Vec, noseDeg float64) r3.Vec {
	q := yaw(noseDeg).Apply(p)
	b := r3.Add(r3.Add(r.Reference, r.Offset), r.Gradient.Apply(q))
	for _, d := range r.Iron {
		b = r3.Add(b, d.Field(q))
	}
	return r.turned(b, noseDeg)
}

// turned takes a vector of the room to the craft frame.
func (r Room) turned(b r3.Vec, noseDeg float64) r3.Vec { return yaw(noseDeg).Transpose().Apply(b) }

// yaw returns the rotation about z (down) that turns x towards y by deg: clockwise
// seen from above.
func yaw(deg float64) magmath.Mat3 {
	s, c := math.Sincos(deg * math.Pi / 180)
	return magmath.Mat3{{c, -s, 0}, {s, c, 0}, {0, 0, 1}}
}

// HarmonicGradient draws a symmetric gradient without trace whose elements
// have about the given standard deviation, microtesla per millimetre.
func HarmonicGradient(rng *rand.Rand, sd float64) magmath.Mat3 {
	a, b := sd*rng.NormFloat64(), sd*rng.NormFloat64()
	xy, xz, yz := sd*rng.NormFloat64(), sd*rng.NormFloat64(), sd*rng.NormFloat64()
	return magmath.Mat3{{a, xy, xz}, {xy, b, yz}, {xz, yz, -a - b}}
}

// Drift is how the room's field changes with time: slow waves, and steps when
// somebody parks a tool. The zero value does not change.
type Drift struct {
	Waves []Wave
	Steps []Step
}

// Wave is AmplitudeUT * sin(2 pi t/PeriodS + Phase).
type Wave struct {
	AmplitudeUT r3.Vec
	PeriodS     float64
	Phase       float64 // radians
}

// Step is a jump of the field at AtS that stays.
type Step struct {
	AtS    float64
	StepUT r3.Vec
}

// At returns the departure at t seconds, microtesla, in the room's frame.
func (d Drift) At(t float64) r3.Vec {
	var b r3.Vec
	for _, w := range d.Waves {
		b = r3.Add(b, r3.Scale(math.Sin(2*math.Pi*t/w.PeriodS+w.Phase), w.AmplitudeUT))
	}
	for _, s := range d.Steps {
		if t >= s.AtS {
			b = r3.Add(b, s.StepUT)
		}
	}
	return b
}

// Terms and length of the sum that stands for a random walk.
const (
	walkTerms = 40
	walkS     = 6 * 3600.
)

// RandomWalk returns a random walk of each component that has wandered by about
// perHourUT after an hour, good for six hours. Written as a sum of waves it
// is a plain function of time.
//
// Source: the Karhunen-Loeve expansion of Brownian motion, W(t) = sqrt(2T)
// sum Z_k sin((k-1/2) pi t/T)/((k-1/2) pi), e.g. Loeve, Probability Theory;
// from memory.
func RandomWalk(rng *rand.Rand, perHourUT float64) Drift {
	var d Drift
	for k := range walkTerms {
		f := (float64(k) + .5) * math.Pi
		a := perHourUT / math.Sqrt(3600) * math.Sqrt(2*walkS) / f
		d.Waves = append(d.Waves, Wave{AmplitudeUT: r3.Scale(a, Normal3(rng)), PeriodS: 2 * math.Pi * walkS / f})
	}
	return d
}

// Normal3 draws a vector of three independent standard normal numbers.
func Normal3(rng *rand.Rand) r3.Vec {
	return r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
}
