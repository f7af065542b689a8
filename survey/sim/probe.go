package sim

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
)

// Probe is the sensor: from the field in its own axes to the numbers it
// sends.
type Probe struct {
	RateHz    float64      // lines a second
	HoldEvery int          // the sensor is read every so many lines, the lines between repeat it; below 2: every line
	NoiseUT   float64      // standard deviation of one axis
	Lag1      float64      // correlation of the noise from one reading to the next
	Gain      magmath.Mat3 // scale and cross terms; zero: identity
	OffsetUT  r3.Vec
	StepUT    float64      // quantisation; 0: none
	RangeUT   float64      // full scale of one axis; 0: none
	SpikeRate float64      // part of the readings that are wild
	SpikeUT   float64      // their size
	Mounting  magmath.Mat3 // rotation of the sensor in its case, on top of the axes of the craft file; zero: identity
	Acc       bool         // sends an accelerometer's readings too
}

// DefaultProbe returns a middling module at 50 lines a second: noise 0.3
// microtesla an axis, correlated 0.6 from sample to sample.
func DefaultProbe() Probe {
	return Probe{RateHz: 50, NoiseUT: 0.3, Lag1: 0.6}
}

// Sensor is a probe at work: it remembers its noise.
type Sensor struct {
	p     Probe
	axes  magmath.Mat3 // craft frame to sensor axes
	rng   *rand.Rand
	noise r3.Vec
	held  r3.Vec
	count int
}

// NewSensor returns a sensor of the probe p, mounted as module m says, whose noise
// comes from rng.
func NewSensor(p Probe, m survey.Module, rng *rand.Rand) *Sensor {
	s := &Sensor{p: p, rng: rng, axes: orIdentity(p.Mounting).Mul(AxesOf(m).Transpose())}
	s.p.Gain = orIdentity(p.Gain)
	s.noise = r3.Scale(p.NoiseUT, Normal3(rng))
	return s
}

func orIdentity(m magmath.Mat3) magmath.Mat3 {
	if m == (magmath.Mat3{}) {
		return magmath.Identity()
	}
	return m
}

// Read returns what the sensor sends, in its own axes, while the field in the frame of its case is
// b; a field without a value (on a source) reads as full scale.
func (s *Sensor) Read(b r3.Vec) r3.Vec {
	s.count++
	if s.p.HoldEvery > 1 && (s.count-1)%s.p.HoldEvery != 0 {
		return s.held
	}
	s.step()
	raw := r3.Add(s.p.Gain.Apply(s.axes.Apply(b)), r3.Add(s.p.OffsetUT, s.noise))
	if s.p.SpikeRate > 0 && s.rng.Float64() < s.p.SpikeRate {
		raw = r3.Add(raw, r3.Scale(s.p.SpikeUT, Normal3(s.rng)))
	}
	s.held = s.p.digitise(raw)
	return s.held
}

// Gravity returns the accelerometer at rest in a pose: one g upwards, in sensor axes.
func (s *Sensor) Gravity(p Pose) r3.Vec {
	up := s.axes.Apply(p.Turn.Apply(r3.Vec{Z: -1}))
	return r3.Add(up, r3.Scale(0.002, Normal3(s.rng)))
}

// step moves the noise on: first-order autoregressive, with the standard
// deviation kept at NoiseUT.
func (s *Sensor) step() {
	fresh := s.p.NoiseUT * math.Sqrt(max(0, 1-s.p.Lag1*s.p.Lag1))
	s.noise = r3.Add(r3.Scale(s.p.Lag1, s.noise), r3.Scale(fresh, Normal3(s.rng)))
}

// digitise rounds to the step and stops at full scale.
func (p Probe) digitise(v r3.Vec) r3.Vec {
	one := func(x float64) float64 {
		if math.IsNaN(x) {
			x = math.Inf(1)
		}
		if p.RangeUT > 0 {
			x = max(-p.RangeUT, min(p.RangeUT, x))
		}
		x = max(-unlimitedUT, min(unlimitedUT, x))
		if p.StepUT > 0 {
			x = p.StepUT * math.Round(x/p.StepUT)
		}
		return x
	}
	return r3.Vec{X: one(v.X), Y: one(v.Y), Z: one(v.Z)}
}

// unlimitedUT keeps a probe of unstated range finite on top of a magnet.
const unlimitedUT = 1e6
