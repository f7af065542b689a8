package sim

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// Bench is the craft, the probe in somebody's hand and the switches, as time
// goes by: what stands behind both Stream and Serve. One goroutine at a time,
// save that a Stream and an Operator may work on it from two.
type Bench struct {
	mu sync.Mutex // held by Stream for a step, by Operator for an event

	World *World
	Hand  Hand

	module  survey.Module
	sensor  *Sensor
	printer *printer
	rng     *rand.Rand
	tick    int
	t       float64 // seconds since the bench began
	state   State
	nose    float64
	at      r3.Vec // surface point under the foot, slip included
	pose    Pose
	ride    *ride     // nil: the probe rests
	spin    *spin     // nil: nobody turns it through all directions
	held    *Finished // the craft as a whole, turned; nil: it lies on the bench
	later   []deed    // in order of time
	pulse   *pulse
}

// ride is a move of the hand.
type ride struct {
	from, to     r3.Vec
	fromS, tillS float64
	pose         Pose // at its end
	wobble       r3.Vec
}

// deed is something that happens at a moment.
type deed struct {
	at float64
	do func()
}

// pulse switches a load by itself.
type pulse struct {
	load      string
	level     float64
	onS, offS float64
	fromS     float64
}

// BenchOptions say what stands on the bench.
type BenchOptions struct {
	Shape  Shape // empty: ShapePlain
	Faults Faults
	Away   bool // the craft is not there
	Seed   uint64
}

// NewBench lays the probe down at the base station, or over the datum where
// the craft has none. The world must have a craft.
func NewBench(w *World, p Probe, h Hand, o BenchOptions) *Bench {
	rng := rand.New(rand.NewPCG(o.Seed, 0xbe4c))
	b := &Bench{World: w, Hand: h, rng: rng, module: w.Craft.MeasuringModule(), nose: w.NoseDeg}
	if p.RateHz <= 0 {
		p.RateHz = DefaultProbe().RateHz
	}
	b.sensor = NewSensor(p, b.module, rng)
	b.printer = &printer{shape: o.Shape, faults: o.Faults, rng: rng}
	b.state = State{Away: o.Away, Levels: map[string]float64{}}
	b.pose = h.Place(rng)
	if w.Craft.Base != nil {
		b.at = r3.Add(w.Craft.Base.At, b.pose.Slip)
	}
	return b
}

// Now returns the time in seconds since the bench began.
func (b *Bench) Now() float64 { return b.t }

// Away reports whether the craft has been taken away.
func (b *Bench) Away() bool { return b.state.Away }

// SetAway takes the craft away or puts it back.
func (b *Bench) SetAway(away bool) { b.state.Away = away }

// SetNose turns the bench: the magnetic direction of the nose.
func (b *Bench) SetNose(deg float64) {
	b.World = b.World.Turned(deg)
	b.nose, b.held = deg, nil
}

// SetLoad switches a load of the craft: amperes of a current, 0 to 1 of a
// mover's way, 0 for off. A name that is no load of the craft is an error.
func (b *Bench) SetLoad(name string, level float64) error {
	if math.IsNaN(level) || math.IsInf(level, 0) {
		return fmt.Errorf("load %q: %g is no level; give amperes, or 0 for off", name, level)
	}
	for _, l := range b.World.Craft.Loads {
		if l.Name == name {
			b.state.Levels[name] = level
			return nil
		}
	}
	return fmt.Errorf("the craft has no load %q; it has %q", name, loadNames(b.World.Craft))
}

// LoadsOff switches everything off.
func (b *Bench) LoadsOff() {
	clear(b.state.Levels)
	b.pulse = nil
}

// Pulse switches a load on and off by itself from now on, off first.
func (b *Bench) Pulse(name string, level, onS, offS float64) error {
	if !(onS > 0) || !(offS > 0) {
		return fmt.Errorf("pulse %q: %g s on and %g s off; both must be more than 0", name, onS, offS)
	}
	if err := b.SetLoad(name, level); err != nil {
		return err
	}
	b.pulse = &pulse{load: name, level: level, onS: onS, offS: offS, fromS: b.t}
	return nil
}

func loadNames(c *survey.Craft) []string {
	out := make([]string, 0, len(c.Loads))
	for _, l := range c.Loads {
		out = append(out, l.Name)
	}
	return out
}

// Move carries the probe to the surface point within the given seconds and
// sets it down with a new pose. While it is carried it swings.
func (b *Bench) Move(to r3.Vec, seconds float64, backwards bool) {
	b.held = nil
	if b.ride != nil { // changed one's mind on the way
		b.at, b.pose = b.ride.now(b.t)
	}
	pose := b.Hand.Place(b.rng)
	if backwards {
		pose = pose.Backwards()
	}
	swing := r3.Vec{X: 0.3 * b.rng.NormFloat64(), Y: 0.3 * b.rng.NormFloat64(), Z: 0.5 * b.rng.NormFloat64()}
	b.ride = &ride{
		from: b.at, to: r3.Add(to, pose.Slip), fromS: b.t, tillS: b.t + max(seconds, 0.2), pose: pose, wobble: swing,
	}
}

// after lets something happen in the given seconds.
func (b *Bench) after(seconds float64, do func()) {
	d := deed{b.t + seconds, do}
	i, _ := slices.BinarySearchFunc(b.later, d, func(a, d deed) int {
		if a.at <= d.at {
			return -1
		}
		return 1
	})
	b.later = slices.Insert(b.later, i, d)
}

// Step lets one reading's time go by and gives the bytes that came down the
// line in it, none at times.
func (b *Bench) Step() []byte {
	b.tick++
	b.t = float64(b.tick) / b.sensor.p.RateHz
	for len(b.later) > 0 && b.later[0].at <= b.t {
		do := b.later[0].do
		b.later = b.later[1:]
		do()
	}
	b.pulseNow()
	return b.printer.print(b.t, b.reading())
}

func (b *Bench) pulseNow() {
	if b.pulse == nil {
		return
	}
	level := 0.
	if math.Mod(b.t-b.pulse.fromS, b.pulse.onS+b.pulse.offS) >= b.pulse.offS {
		level = b.pulse.level
	}
	b.state.Levels[b.pulse.load] = level
}

// reading returns what the sensor says now.
func (b *Bench) reading() reading {
	if b.held != nil {
		return b.heldReading()
	}
	at, pose := b.at, b.pose
	if b.ride != nil {
		at, pose = b.ride.now(b.t)
		if b.t >= b.ride.tillS {
			b.at, b.pose, b.ride = at, pose, nil
		}
	}
	state := b.state
	if b.spin != nil {
		if pose, state.Away = b.spin.turned(b.t), true; b.t >= b.spin.tillS {
			b.spin = nil
		}
	}
	field := b.World.Field(b.module.SensorAt(at, 0), b.t, state)
	return b.load(reading{b: b.sensor.Read(pose.Turn.Apply(field)), acc: b.sensor.Gravity(pose)})
}

// load adds to a reading what is on.
func (b *Bench) load(r reading) reading {
	for _, name := range loadNames(b.World.Craft) {
		if level := b.state.Levels[name]; level != 0 {
			r.on = true
			r.currentA += level
		}
	}
	return r
}

// carriedMM is how high the hand lifts the probe.
const carriedMM = 60

// now returns where the probe is on its way, and how it is held: lifted in the
// middle, swinging about two axes and settling as it comes down.
func (r *ride) now(t float64) (r3.Vec, Pose) {
	part := min(1, (t-r.fromS)/(r.tillS-r.fromS))
	smooth := part * part * (3 - 2*part)
	at := r3.Add(r.from, r3.Scale(smooth, r3.Sub(r.to, r.from)))
	lift := math.Sin(math.Pi * part)
	at.Z -= carriedMM * lift
	swing := r3.Scale(lift*math.Cos(7*(t-r.fromS)), r.wobble)
	pose := r.pose
	pose.Turn = rotation(swing).Transpose().Mul(pose.Turn)
	return at, pose
}
