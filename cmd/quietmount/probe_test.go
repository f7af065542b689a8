//go:build linux || darwin

package main

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"sync"
	"testing"
	"time"

	"github.com/creack/pty"
	"golang.org/x/term"
	"gonum.org/v1/gonum/spatial/r3"
)

// probe is a magnetometer of closed form on a board that prints lines at a
// pseudo-terminal. It knows nothing of the project's own simulator.
type probe struct {
	path   string // what --port is given
	master *os.File
	slave  *os.File

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

func newProbe(t *testing.T, o probeOptions) *probe {
	t.Helper()
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
	p.open(t)
	var wg sync.WaitGroup
	wg.Go(p.talk)
	t.Cleanup(func() { close(p.done); wg.Wait(); p.unplug() })
	return p
}

// open makes a pseudo-terminal in raw mode.
func (p *probe) open(t *testing.T) {
	t.Helper()
	master, slave, err := pty.Open()
	if err != nil {
		t.Skipf("no pseudo-terminal here: %v", err)
	}
	if _, err := term.MakeRaw(int(slave.Fd())); err != nil {
		t.Fatal(err)
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.master, p.slave, p.path = master, slave, slave.Name()
}

// unplug closes both ends, as a board that is pulled out does.
func (p *probe) unplug() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.master != nil {
		p.slave.Close()
		p.master.Close()
		p.master, p.slave = nil, nil
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
	if p.master == nil || p.silent {
		return
	}
	text := p.print(p.reading(now))
	_ = p.master.SetWriteDeadline(now.Add(20 * time.Millisecond))
	_, _ = p.master.WriteString(text)
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
