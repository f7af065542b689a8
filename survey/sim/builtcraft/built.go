package builtcraft

import (
	"math/rand/v2"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// Kind is the kind of place and craft.
type Kind string

// The kinds.
const (
	Ordinary   Kind = "ordinary"   // H 11 to 31 uT, a room about 1 per cent off the reference
	Quiet      Kind = "quiet"      // weak magnets, small currents, an even room
	Equatorial Kind = "equatorial" // H 27 to 33 uT, dip within 15 degrees
	Indoor     Kind = "indoor"     // |B| 3 to 8 per cent off the reference, with a gradient of some uT a metre
)

// Kinds returns all kinds, in order.
func Kinds() []Kind { return []Kind{Ordinary, Quiet, Equatorial, Indoor} }

// day is when every survey begins.
var day = time.Date(2026, 6, 1, 9, 0, 0, 0, time.UTC)

// Built is one craft: what its builder wrote down, and what it really is. All methods
// leave it as it is, and give the same answer each time.
type Built struct {
	Seed  uint64
	Kind  Kind
	Craft *survey.Craft // as the builder wrote it; SHA256 is that of TOML()

	TiltDeg float64            // the craft leans up to so many degrees: 10
	SlipMM  float64            // the glued module lies uniformly within so many mm of its spot: 3
	BenchA  map[string]float64 // load -> amperes stated on the bench; 0 of a mover
	NoseDeg float64            // magnetic direction of the nose on the bench
	HUT     float64            // horizontal field in use: the reference and 133 nT of its own error

	// Effects that are left out unless a test sets them.
	WarmPart     float64 // part of its permanent moment that a motor loses when its load has run: in Load, not on the bench
	RemanentPart float64 // part of a load's field that stays after its first pulse of a capture: on the bench, not in Load

	room   room
	still  []dipole // all that is magnetised for good
	steels []steel
	bench  []dipole // steels as the bench's field magnetises them
	shifts map[string]shift
}

// shift is what a load adds to the field.
type shift struct {
	full      float64   // amperes; 1 of a mover: the field is full times what follows
	conduct   []element // a lead, for an ampere
	magnets   []dipole  // the change of a motor for an ampere, or of a mover from end to end
	permanent []dipole  // the motor's permanent magnet
}

func (s shift) field(p r3.Vec) r3.Vec {
	return r3.Add(ampereField(s.conduct, p), fieldOf(s.magnets, p))
}

// New draws the craft of a seed and kind. The same seed and kind give the same craft.
func New(seed uint64, kind Kind) *Built {
	b := &Built{
		Seed: seed, Kind: kind, TiltDeg: 10, SlipMM: 3,
		BenchA: map[string]float64{}, shifts: map[string]shift{},
	}
	d := &drawing{b: b, c: &survey.Craft{}, rng: b.random(streamCraft)}
	d.craft()
	b.Craft = d.c
	b.Craft.SHA256 = hash(b.TOML())
	b.bench = b.induced(b.NoseDeg)
	return b
}

// The streams of random numbers of a craft.
const (
	streamCraft = 1
	streamWalk  = 1 << 20 // and the number of the round
)

func (b *Built) random(stream uint64) *rand.Rand {
	return rand.New(rand.NewPCG(b.Seed, 0xb0117<<32+stream<<4+uint64(slices.Index(Kinds(), b.Kind))))
}

// induced returns what the ambient field makes of the steel with the nose at noseDeg.
func (b *Built) induced(noseDeg float64) []dipole {
	var out []dipole
	for _, s := range b.steels {
		out = append(out, s.induced(b.room.field(s.body[0].at, noseDeg))...)
	}
	return out
}

// Sensor returns the place of the sensor of the module, craft frame, mm, with the middle
// of its foot heightMM above the surface at foot.
func (b *Built) Sensor(foot r2.Vec, heightMM float64) r3.Vec {
	return b.Craft.Module.SensorAt(r3.Vec{X: foot.X, Y: foot.Y, Z: b.Craft.SurfaceZ(foot.X, foot.Y)}, heightMM)
}

// Ambient returns the field without the craft at p, craft frame, with the nose as on the
// bench and without drift.
func (b *Built) Ambient(p r3.Vec) r3.Vec { return b.room.field(p, b.NoseDeg) }

// Steady returns the steady part of the disturbance at the sensor's place p with the
// nose as on the bench: magnets, motors, a mover at its first end, steel.
func (b *Built) Steady(p r3.Vec) r3.Vec { return r3.Add(fieldOf(b.still, p), fieldOf(b.bench, p)) }

// SteadyTurned returns Steady with the nose at noseDeg from magnetic north.
func (b *Built) SteadyTurned(p r3.Vec, noseDeg float64) r3.Vec {
	return r3.Add(fieldOf(b.still, p), fieldOf(b.induced(noseDeg), p))
}

// Load returns what the load called name adds at the sensor's place p at its maximum
// current, or at the other end of a mover; zero for an unknown name.
func (b *Built) Load(name string, p r3.Vec) r3.Vec {
	s := b.shifts[name]
	f := r3.Scale(s.full, s.field(p))
	if b.WarmPart != 0 {
		f = r3.Sub(f, r3.Scale(b.WarmPart, fieldOf(s.permanent, p)))
	}
	return f
}
