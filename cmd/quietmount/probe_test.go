package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"
)

// probe is a magnetometer of closed form on a board that prints lines at a
// port: one of its own inside a bubble, or a pseudo-terminal. It knows nothing
// of the project's own simulator.
type probe struct {
	path string       // what --port is given
	out  func(string) // prints a line; nil while unplugged
	shut func()       // closes the port

	mu    sync.Mutex
	at    r3.Vec // the surface under the foot, mm
	from  r3.Vec // where a move began
	since time.Time
	load  bool
	rng   *rand.Rand

	field  func(at r3.Vec, load bool) r3.Vec // microtesla
	print  func(b r3.Vec) string             // a line
	noise  float64                           // microtesla
	hz     float64
	moveS  float64 // how long a move takes
	silent bool
	done   chan struct{}
}

// probeOptions leave out what is ordinary.
type probeOptions struct {
	Field func(at r3.Vec, load bool) r3.Vec
	Print func(b r3.Vec) string
	Noise float64
	Hz    float64
	MoveS float64
	Seed  uint64
}

// newProbe is a probe inside the bubble of t.
func newProbe(t *testing.T, o probeOptions) *probe {
	t.Helper()
	p := o.probe()
	port := newInventedPort()
	p.path, p.out, p.shut = port.name, port.print, port.shut
	p.begin(t)
	return p
}

// begin lets the probe print until the end of the test.
func (p *probe) begin(t *testing.T) {
	var wg sync.WaitGroup
	wg.Go(p.talk)
	t.Cleanup(func() { close(p.done); wg.Wait(); p.unplug() })
}

func (o probeOptions) probe() *probe {
	p := &probe{
		field: o.Field, print: o.Print, noise: o.Noise, hz: o.Hz, moveS: o.MoveS,
		rng: rand.New(rand.NewPCG(o.Seed, 7)), done: make(chan struct{}),
		at: r3.Vec{X: 2000, Y: 2000},
	}
	if p.hz == 0 {
		p.hz = 80
	}
	if p.moveS == 0 {
		p.moveS = 0.3
	}
	if p.print == nil {
		p.print = func(b r3.Vec) string { return fmt.Sprintf("%.3f,%.3f,%.3f\r\n", b.X, b.Y, b.Z) }
	}
	return p
}

// unplug closes the port, as a board that is pulled out does.
func (p *probe) unplug() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out != nil {
		p.shut()
		p.out = nil
	}
}

func (p *probe) talk() {
	tick := time.NewTicker(time.Duration(float64(time.Second) / p.hz))
	defer tick.Stop()
	for {
		select {
		case <-p.done:
			return
		case now := <-tick.C:
			p.say(now)
		}
	}
}

// say prints a line unless nobody reads: a full buffer loses lines, as a
// board's does.
func (p *probe) say(now time.Time) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.out == nil || p.silent {
		return
	}
	p.out(p.print(p.reading(now)))
}

// reading is the field where the probe is, with the hand's shaking on the way.
func (p *probe) reading(now time.Time) r3.Vec {
	at, shaking := p.at, false
	if s := now.Sub(p.since).Seconds(); s < p.moveS {
		at = r3.Add(p.from, r3.Scale(s/p.moveS, r3.Sub(p.at, p.from)))
		shaking = true
	}
	b := p.field(at, p.load)
	if shaking {
		b = turnZ(b, 0.3*math.Sin(40*now.Sub(p.since).Seconds()))
	}
	return r3.Add(b, p.jitter(p.noise))
}

func (p *probe) jitter(sd float64) r3.Vec {
	return r3.Vec{X: sd * p.rng.NormFloat64(), Y: sd * p.rng.NormFloat64(), Z: sd * p.rng.NormFloat64()}
}

func turnZ(v r3.Vec, by float64) r3.Vec {
	s, c := math.Sincos(by)
	return r3.Vec{X: c*v.X - s*v.Y, Y: s*v.X + c*v.Y, Z: v.Z}
}

// move carries the probe to a place.
func (p *probe) move(to r3.Vec) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.from, p.at, p.since = p.at, to, time.Now()
}

func (p *probe) turn(on bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.load = on
}

func (p *probe) setField(f func(at r3.Vec, load bool) r3.Vec) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.field = f
}

// truth is what a noiseless probe reads at a place.
func (p *probe) truth(at r3.Vec, load bool) r3.Vec {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.field(at, load)
}
