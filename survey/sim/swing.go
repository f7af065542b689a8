package sim

import (
	"context"
	"io"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	angles "quietmount/magmath/heading"
	"quietmount/survey"
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
	sensor   *sensor
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
	f.sensor = newSensor(p, w.Craft.Module, rng)
	f.at = w.Craft.Module.SensorAt(o.Spot, o.HeightMM)
	f.mounted = yaw(o.TwistDeg).Mul(orIdentity(o.Case)).Transpose()
	f.from, f.to = magmath.Identity(), magmath.Identity()
	return f
}

// Commands are what the operator types.
func (f *Finished) Commands() <-chan guide.Command { return f.commands }

// Now is the time in seconds since the craft was laid down.
func (f *Finished) Now() float64 { return float64(f.tick) / f.sensor.p.RateHz }

// Stepped says that this source makes its own time.
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

// attitude is the rotation room to craft that a stop asks for, with what the
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
			v, ok := angles.PoseName(stop).In(axis)
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
	n := r3.Scale(f.o.PoseDeg*math.Pi/180, normal3(f.rng))
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

// now is the rotation room to craft.
func (f *Finished) now(t float64) magmath.Mat3 {
	part := max(0, min(1, (t-f.fromS)/max(f.tillS-f.fromS, 1e-9)))
	if part >= 1 {
		return f.to
	}
	turn := f.to.Mul(f.from.Transpose())
	smooth := part * part * (3 - 2*part)
	return rotation(r3.Scale(smooth, turnVector(turn))).Mul(f.from)
}

// turnVector is the turn of a rotation; of a half turn, about z.
func turnVector(r magmath.Mat3) r3.Vec {
	w := r3.Scale(.5, r3.Vec{X: r[2][1] - r[1][2], Y: r[0][2] - r[2][0], Z: r[1][0] - r[0][1]})
	sin := r3.Norm(w)
	angle := math.Atan2(sin, (r.Trace()-1)/2)
	if sin < 1e-9 {
		return r3.Vec{Z: angle}
	}
	return r3.Scale(angle/sin, w)
}

// Field is the true field at the sensor in the craft frame, with the craft
// held so: the room's field at the datum, the craft's magnets, and its iron
// magnetised by the room's field as it lies in it now. The room's gradient
// does not matter to a craft that turns about one place.
func (f *Finished) Field(roomToCraft magmath.Mat3, t float64) r3.Vec {
	room := r3.Add(r3.Add(f.world.Room.Reference, f.world.Room.Offset), f.world.Room.Drift.At(t))
	ambient := roomToCraft.Apply(room)
	b := r3.Add(ambient, f.added)
	for _, m := range f.world.Magnets {
		b = r3.Add(b, m.Field(f.at))
	}
	for _, m := range f.world.Movers {
		b = r3.Add(b, m.Rest.Field(f.at))
	}
	for _, i := range f.world.Irons {
		b = r3.Add(b, i.Induced(ambient).Field(f.at))
	}
	for _, name := range slices.Sorted(maps.Keys(f.o.Level)) {
		b = r3.Add(b, f.world.LoadField(name, f.o.Level[name], f.at))
	}
	return b
}

// reading is what the module sends now.
func (f *Finished) reading(t float64) survey.Sample {
	now := f.now(t)
	s := survey.Sample{TS: t, B: f.sensor.read(f.mounted.Apply(f.Field(now, t)))}
	if f.sensor.p.Acc {
		up := f.mounted.Apply(now.Apply(r3.Vec{Z: -1}))
		s.Acc, s.Has = r3.Add(f.sensor.axes.Apply(up), r3.Scale(0.002, normal3(f.rng))), survey.HasAcc
	}
	return s
}

// TrueDeviation is the deviation in degrees that an ideal module without
// twist would show on a heading from the room's own north, with what a
// calibration takes out taken out.
func (f *Finished) TrueDeviation(headingDeg float64, removed r3.Vec) float64 {
	b := r3.Sub(f.Field(yaw(headingDeg+f.roomNorth()).Transpose(), 0), removed)
	compass, ok := angles.Compass(b, r3.Vec{})
	if !ok {
		return math.NaN()
	}
	return angles.Wrap180(headingDeg - compass)
}

// roomNorth is the direction of the room's own field: a compass that finds
// mark 0 on this bench has no better.
func (f *Finished) roomNorth() float64 {
	room := r3.Add(f.world.Room.Reference, f.world.Room.Offset)
	return math.Atan2(room.Y, room.X) * 180 / math.Pi
}

// SteadyAtSensor is the permanent part of the craft's field at the sensor,
// what a calibration of the finished craft takes for the offset of the
// module.
func (f *Finished) SteadyAtSensor() r3.Vec {
	var b r3.Vec
	for _, m := range f.world.Magnets {
		b = r3.Add(b, m.Field(f.at))
	}
	for _, m := range f.world.Movers {
		b = r3.Add(b, m.Rest.Field(f.at))
	}
	return b
}

// InCase is a vector of the craft in the sensor's own axes, as mounted.
func (f *Finished) InCase(v r3.Vec) r3.Vec { return f.sensor.axes.Apply(f.mounted.Apply(v)) }

// Tumble turns the craft, or with away the loose module, so that the field
// enters from everywhere in the given seconds, along a spiral that keeps the
// same pace over the sphere, and gives the readings: the turning of a
// calibration. The clock of the link goes on meanwhile.
func (f *Finished) Tumble(seconds float64, away bool) []survey.Sample {
	var out []survey.Sample
	start := f.Now()
	for f.Now() < start+seconds {
		f.tick++
		t := f.Now()
		room := r3.Add(r3.Add(f.world.Room.Reference, f.world.Room.Offset), f.world.Room.Drift.At(t))
		held := spiral((t-start)/seconds, room)
		field := held.Apply(room)
		if !away {
			field = f.Field(held, t)
		}
		out = append(out, survey.Sample{TS: t, B: f.sensor.read(f.mounted.Apply(field))})
	}
	return out
}

// spiral is the rotation that turns the room's field to a part of the way from
// +z to -z, around the axis many times.
func spiral(part float64, room r3.Vec) magmath.Mat3 {
	const turns = 12
	align := magmath.Identity()
	if axis := r3.Cross(room, r3.Vec{Z: 1}); r3.Norm(axis) > 0 {
		align = rotation(r3.Scale(math.Acos(room.Z/r3.Norm(room))/r3.Norm(axis), axis))
	}
	tip := rotation(r3.Vec{Y: math.Acos(max(-1, 1-2*part))})
	return yaw(360 * turns * part).Mul(tip).Mul(align)
}
