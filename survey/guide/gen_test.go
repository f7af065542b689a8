package guide

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey"
)

// The craft and fields here are invented.

// hull is a craft with a grid of about nx by ny stations.
func hull(nx, ny int, base bool) *survey.Craft {
	const step = 60
	x, y := float64(nx-1)*step/2+5, float64(ny-1)*step/2+5
	origin := r2.Vec{X: math.Mod(float64(nx-1)*step/2, step), Y: math.Mod(float64(ny-1)*step/2, step)}
	axes := magmath.Identity()
	c := &survey.Craft{
		Name:   "invented hull",
		Module: survey.Module{Name: "puck", RangeUT: 800, Axes: &axes},
		Body:   survey.Body{OutlineMM: []r2.Vec{{X: x, Y: y}, {X: -x, Y: y}, {X: -x, Y: -y}, {X: x, Y: -y}}, Fitted: []string{"hatch shut"}},
		Grid:   &survey.Grid{SpacingMM: step, OriginMM: origin},
		Loads:  []survey.Load{{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 18}, {Name: "rudder", Kind: survey.LoadMoving}},
	}
	if base {
		c.Base = &survey.Station{Name: "T", At: r3.Vec{X: 900}}
	}
	return c
}

// magnet is a dipole: place in mm, moment in A m^2.
type magnet struct{ at, moment r3.Vec }

// room is the field without the craft.
var room = r3.Vec{X: 17, Y: -8, Z: 46}

// fieldAt is the room plus the magnets, microtesla. The dipole formula is
// that of Jackson 1999, Classical Electrodynamics, eq. 5.56 (from memory).
func fieldAt(p r3.Vec, magnets []magnet) r3.Vec {
	b := room
	for _, m := range magnets {
		r := r3.Scale(1e-3, r3.Sub(p, m.at))
		d := r3.Norm(r)
		u := r3.Scale(1/d, r)
		b = r3.Add(b, r3.Scale(0.1/(d*d*d), r3.Sub(r3.Scale(3*r3.Dot(m.moment, u), u), m.moment)))
	}
	return b
}

// hand is an operator and a probe: it takes events and gives samples.
type hand struct {
	t       testing.TB
	w       *Walk
	rng     *rand.Rand
	rate    float64
	noise   float64
	tilt    float64 // of the hand, degrees
	offMM   float64 // of the hand
	magnets []magnet
	step    r3.Vec // field of the load while on
	ts      float64
	at      r3.Vec
	turn    magmath.Mat3
	loadOn  bool
	wrong   map[string]r3.Vec // where the probe is set down instead
	turned  map[string]int    // stations at which the arrow points elsewhere
	hands   bool              // captures by command
	events  []Event
	fail    int // Store fails this often
}

func newHand(t testing.TB, seed uint64) *hand {
	return &hand{t: t, rng: rand.New(rand.NewPCG(seed, 7)), rate: 25, noise: 0.3, tilt: 1.5, offMM: 1.5, turn: magmath.Identity(), hands: true}
}

// pose is a small turn by normal angles, degrees.
func (h *hand) pose() magmath.Mat3 {
	a := func() float64 { return h.rng.NormFloat64() * h.tilt * math.Pi / 180 }
	return magmath.Identity().Add(magmath.Cross(r3.Vec{X: a(), Y: a(), Z: a()}))
}

func (h *hand) reading(at r3.Vec, turn magmath.Mat3) survey.Sample {
	b := fieldAt(at, h.magnets)
	if h.loadOn {
		b = r3.Add(b, h.step)
	}
	b = turn.Apply(b)
	n := func() float64 { return h.rng.NormFloat64() * h.noise }
	h.ts += 1 / h.rate
	return survey.Sample{TS: h.ts, B: r3.Add(b, r3.Vec{X: n(), Y: n(), Z: n()})}
}

// take does what the events ask for and remembers them.
func (h *hand) take(events []Event) {
	for _, e := range events {
		h.events = append(h.events, e)
		switch e.Kind {
		case Go:
			h.carry(e.Station)
		case Switch:
			h.loadOn = e.On
		case Store:
			if h.fail > 0 {
				h.fail--
				h.take(h.w.StoreFailed(fmt.Errorf("no room on the disk")))
				h.take(h.w.Command(Command{Kind: CmdCapture}))
				continue
			}
			h.take(h.w.Stored(e.Capture.Number))
		}
	}
}

// carry sets the probe down at the station, wobbling on the way.
func (h *hand) carry(s survey.Station) {
	h.at = r3.Add(s.At, r3.Vec{X: h.rng.NormFloat64() * h.offMM, Y: h.rng.NormFloat64() * h.offMM})
	if p, ok := h.wrong[s.Name]; ok {
		h.at = p
	}
	h.turn = h.pose()
	if deg, ok := h.turned[s.Name]; ok {
		h.turn = turnedRight(deg).Mul(h.turn)
	}
	for range int(1.5 * h.rate) {
		if h.w.Over() {
			return
		}
		wobble := magmath.Identity().Add(magmath.Cross(r3.Vec{X: 0.3 * math.Sin(9*h.ts), Y: 0.4 * math.Cos(7*h.ts), Z: 0.3}))
		h.take(h.w.Sample(h.reading(h.at, wobble)))
	}
	if h.hands {
		h.take(h.w.Command(Command{Kind: CmdCapture}))
	}
}

// turnedRight is what a probe whose arrow points deg to the right of the nose
// makes of a craft-frame vector: the passive turn about z (down), which is
// clockwise seen from above.
func turnedRight(deg int) magmath.Mat3 {
	s, c := math.Sincos(float64(deg) * math.Pi / 180)
	return magmath.Mat3{{c, s, 0}, {-s, c, 0}, {0, 0, 1}}
}

// walk goes on until the walk is over or the time is up.
func (h *hand) walk(w *Walk, seconds float64) {
	h.t.Helper()
	h.w = w
	h.take(w.Start())
	for !w.Over() && h.ts < seconds {
		h.take(w.Sample(h.reading(h.at, h.turn)))
	}
}

func (h *hand) count(k Kind) int {
	n := 0
	for _, e := range h.events {
		if e.Kind == k {
			n++
		}
	}
	return n
}

func (h *hand) coded(k Kind, code string) []Event {
	var out []Event
	for _, e := range h.events {
		if e.Kind == k && e.Code() == code {
			out = append(out, e)
		}
	}
	return out
}

func mustNew(t testing.TB, cfg Config) *Walk {
	t.Helper()
	w, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

func plain(c *survey.Craft) Config {
	return Config{Craft: c, State: survey.StateUnpowered, SkipChecklist: true, Axes: c.Module.Axes}
}
