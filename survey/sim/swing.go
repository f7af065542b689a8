package sim

import (
	"context"
	"io"
	"math"
	"math/rand/v2"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/arrow"
	"quietmount/survey/guide"
	"quietmount/survey/link"
)

// Finished is a craft with the module mounted, on a turntable or in the hands
// of its operator, as time goes by: a link and an operator in one. Its time
// goes by only as it is read. It is not safe for several goroutines.
type Finished struct {
	world    *World
	at       r3.Vec       // of the sensor, craft frame
	mounted  magmath.Mat3 // craft frame to the frame of the case
	sensor   *Sensor
	rng      *rand.Rand
	o        FinishedOptions
	tick     int
	commands chan guide.Command

	from, to  magmath.Mat3 // room to craft, before and after the move under way
	fromS     float64      // of that move
	tillS     float64
	askS      float64 // when the capture is asked for; 0: not
	stops     int
	turntable float64 // degrees that the reference has moved
	added     r3.Vec  // field of a magnet that moved, craft frame
	closed    bool
}

// FinishedOptions say how the module is mounted and how the operator works.
type FinishedOptions struct {
	Spot      r3.Vec       // surface under the module's foot, craft frame
	HeightMM  float64      // of the foot above it
	Case      magmath.Mat3 // craft vector = Case * vector of the case, beyond a twist; zero: arrow to the nose, label up
	TwistDeg  float64      // of the case about the vertical, clockwise seen from above
	PoseDeg   float64      // standard deviation of a pose or heading; of tilt, half of it on a turntable
	Turntable bool         // poses are headings on a level turntable: hardly any tilt
	MoveS     float64      // from stop to stop; 0: 2.5 s
	Level     map[string]float64
	Seed      uint64
	EndS      float64 // the link ends; 0: two hours
	Mistake   SwingMistake
	MistakeAt int // at which stop, counted from 1, and for what lasts from there on
}

// SwingMistake sorts what goes wrong.
type SwingMistake string

// The mistakes of a swing.
const (
	HalfTurn       SwingMistake = "half turn"       // the tail where the nose belongs
	TurntableMoved SwingMistake = "turntable moved" // by 15 degrees, from there on
	MagnetMoved    SwingMistake = "magnet moved"    // a tool was laid down, from there on
)

var _ link.Source = (*Finished)(nil)

// NewFinished lays the craft with its nose along the room's first axis. The
// world's module is the one mounted.
func NewFinished(w *World, p Probe, o FinishedOptions) *Finished {
	rng := rand.New(rand.NewPCG(o.Seed, 0x5716))
	if p.RateHz <= 0 {
		p.RateHz = DefaultProbe().RateHz
	}
	if o.MoveS == 0 {
		o.MoveS = 2.5
	}
	if o.EndS == 0 {
		o.EndS = 2 * 3600
	}
	f := &Finished{world: w, rng: rng, o: o, commands: make(chan guide.Command, 64)}
	f.sensor = NewSensor(p, w.Craft.Module, rng)
	f.at = w.Craft.Module.SensorAt(o.Spot, o.HeightMM)
	f.mounted = yaw(o.TwistDeg).Mul(orIdentity(o.Case)).Transpose()
	f.from, f.to = magmath.Identity(), magmath.Identity()
	return f
}

// Commands returns what the operator types.
func (f *Finished) Commands() <-chan guide.Command { return f.commands }

// Now returns the time in seconds since the craft was laid down.
func (f *Finished) Now() float64 { return float64(f.tick) / f.sensor.p.RateHz }

// Stepped reports whether this source makes its own time.
func (f *Finished) Stepped() bool { return true }

// Close ends the link.
func (f *Finished) Close() error {
	f.closed = true
	return nil
}

// Next lets one reading's time go by.
func (f *Finished) Next(ctx context.Context) (link.Item, error) {
	if err := ctx.Err(); err != nil {
		return link.Item{}, err
	}
	if f.closed || f.Now() >= f.o.EndS {
		return link.Item{}, io.EOF
	}
	f.tick++
	now := f.Now()
	if f.askS > 0 && now >= f.askS {
		f.askS = 0
		f.send(guide.Command{Kind: guide.CmdCapture})
	}
	s := f.reading(now)
	return link.Item{Kind: link.Reading, Sample: s, TS: now}, nil
}

// Show tells the operator what the guide said.
func (f *Finished) Show(e guide.Event) {
	switch e.Kind {
	case guide.Go:
		f.stops++
		f.mistake()
		f.move(f.attitude(e.Station.Name))
	case guide.Rejected:
		f.askS = f.Now() + 2
	case guide.Checklist:
		f.send(guide.Command{Kind: guide.CmdConfirm})
	case guide.Done:
		f.askS = 0
	}
}

func (f *Finished) send(c guide.Command) {
	select {
	case f.commands <- c:
	default: // a guide that reads none of 64 has long gone
	}
}

// mistake makes what goes wrong at this stop.
func (f *Finished) mistake() {
	if f.stops != f.o.MistakeAt {
		return
	}
	switch f.o.Mistake {
	case TurntableMoved:
		f.turntable = 15
	case MagnetMoved:
		f.added = r3.Vec{X: 4, Y: -2.5, Z: 3}
	}
}

// attitude returns the rotation room to craft that a stop asks for, with what the
// hand adds.
func (f *Finished) attitude(stop string) magmath.Mat3 {
	want := magmath.Identity()
	if deg, err := strconv.ParseFloat(stop, 64); err == nil {
		if f.o.Mistake == HalfTurn && f.stops == f.o.MistakeAt {
			deg += 180
		}
		want = yaw(deg + f.turntable).Transpose()
	} else {
		for column, axis := range []r3.Vec{{X: 1}, {Y: 1}, {Z: 1}} {
			v, ok := arrow.PoseName(stop).In(axis)
			if !ok {
				return f.to
			}
			want[0][column], want[1][column], want[2][column] = v.X, v.Y, v.Z
		}
	}
	want = want.Mul(yaw(f.roomNorth()).Transpose())
	tilt := 1.0
	if f.o.Turntable {
		tilt = 0.2
	}
	n := r3.Scale(f.o.PoseDeg*math.Pi/180, Normal3(f.rng))
	return rotation(r3.Vec{X: tilt * n.X, Y: tilt * n.Y, Z: n.Z}).Mul(want)
}

// move begins to turn the craft and will ask for the capture.
func (f *Finished) move(to magmath.Mat3) {
	const reactionS, calmS = 0.6, 1.2
	f.from, f.to = f.to, to
	f.fromS = f.Now() + reactionS
	f.tillS = f.fromS + f.o.MoveS
	f.askS = f.tillS + calmS
}

// now returns the rotation room to craft.
func (f *Finished) now(t float64) magmath.Mat3 {
	part := max(0, min(1, (t-f.fromS)/max(f.tillS-f.fromS, 1e-9)))
	if part >= 1 {
		return f.to
	}
	turn := f.to.Mul(f.from.Transpose())
	smooth := part * part * (3 - 2*part)
	return rotation(r3.Scale(smooth, turnVector(turn))).Mul(f.from)
}

// turnVector returns the turn of a rotation; of a half turn, about z.
func turnVector(r magmath.Mat3) r3.Vec {
	w := r3.Scale(.5, r3.Vec{X: r[2][1] - r[1][2], Y: r[0][2] - r[2][0], Z: r[1][0] - r[0][1]})
	sin := r3.Norm(w)
	angle := math.Atan2(sin, (r.Trace()-1)/2)
	if sin < 1e-9 {
		return r3.Vec{Z: angle}
	}
	return r3.Scale(angle/sin, w)
}
