package calib

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// scene is a probe turned in a steady field.
type scene struct {
	strength float64 // of the field, microtesla
	dipDeg   float64
	tiltDeg  float64 // yaw all round and tilts up to this; over 90: every direction
	matrix   magmath.Mat3
	offset   r3.Vec
	noise    float64
	lag1     float64 // correlation of the noise from one reading to the next
	n        int
	rate     float64 // readings a second; 0: 50
	spikes   float64 // share of wild readings
	spikeUT  float64
}

func plainScene() scene {
	return scene{strength: 50, dipDeg: 60, tiltDeg: 180, matrix: magmath.Identity(), noise: 0.3, n: 300}
}

// direction of the field in sensor axes, z down: yaw circle and tilt cone as in
// the table of Cramer-Rao multipliers, the plumb line even over the cone's cap.
func (s scene) direction(rng *rand.Rand) r3.Vec {
	if s.tiltDeg > 90 {
		return r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	}
	dip := s.dipDeg * math.Pi / 180
	v := r3.Vec{X: math.Cos(dip), Z: math.Sin(dip)}
	v = rotate(v, r3.Vec{Z: 1}, 2*math.Pi*rng.Float64())
	a := 2 * math.Pi * rng.Float64()
	tilt := math.Acos(1 - (1-math.Cos(s.tiltDeg*math.Pi/180))*rng.Float64())
	return rotate(v, r3.Vec{X: math.Cos(a), Y: math.Sin(a)}, tilt)
}

// samples follow raw = M^-1 b + o + noise.
func (s scene) samples(rng *rand.Rand) []Sample {
	dirs := make([]r3.Vec, s.n)
	for i := range dirs {
		dirs[i] = s.direction(rng)
	}
	return s.along(dirs, rng)
}

func (s scene) along(dirs []r3.Vec, rng *rand.Rand) []Sample {
	inverse, _ := s.matrix.Inverse() // its determinant is far from zero
	rate := s.rate
	if rate == 0 {
		rate = 50
	}
	var noise r3.Vec
	fresh := math.Sqrt(1 - s.lag1*s.lag1)
	out := make([]Sample, len(dirs))
	for i, u := range dirs {
		white := r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}
		if i == 0 {
			noise = white
		}
		noise = r3.Add(r3.Scale(s.lag1, noise), r3.Scale(fresh, white))
		raw := r3.Add(inverse.Apply(r3.Scale(s.strength, u)), r3.Add(s.offset, r3.Scale(s.noise, noise)))
		if s.spikes > 0 && rng.Float64() < s.spikes {
			raw = r3.Add(raw, r3.Scale(s.spikeUT, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}))
		}
		out[i] = Sample{TS: float64(i) / rate, B: raw}
	}
	return out
}

// tumble is a slow path over the whole sphere of directions, as a hand turns a
// probe: n directions, the given number of turns about a slowly tipping axis.
func tumble(n int, turns float64) []r3.Vec {
	out := make([]r3.Vec, n)
	for i := range out {
		f := float64(i) / float64(n)
		z := 0.98 * math.Cos(math.Pi*f)
		phi := 2 * math.Pi * turns * f
		rho := math.Sqrt(1 - z*z)
		out[i] = r3.Vec{X: rho * math.Cos(phi), Y: rho * math.Sin(phi), Z: z}
	}
	return out
}

func testRNG(seed uint64) *rand.Rand { return rand.New(rand.NewPCG(seed, 0xca11b)) }

// options for the scene: outdoors, the reference exact enough.
func (s scene) options() Options {
	o := DefaultOptions()
	o.ReferenceUT = s.strength
	o.DipDeg = s.dipDeg
	o.TiltDeg = s.tiltDeg
	o.Axes = new(magmath.Identity())
	return o
}

// calibrated is what Calibrate returns, which must be no error.
func calibrated(t testing.TB, samples []Sample, o Options) Result {
	t.Helper()
	r, err := Calibrate(t.Context(), samples, o)
	if err != nil {
		t.Fatal(err)
	}
	return r
}
