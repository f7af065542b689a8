package builtcraft

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// The hand, the meter and the probe. A sample that is sent is the mean of four readings
// of the sensor, so that the noise of a dwell is that of the sensor at 50 Hz.
const (
	poseDeg    = 1.5  // standard deviation about each axis
	placeMM    = 2    // standard deviation of x and of y
	slipPart   = 0.05 // of the settings-down, which miss the mark by longSlipMM more
	longSlipMM = 10
	amperePart = 0.05 // standard deviation of the meter: one factor a run

	rangeUT      = 2000
	innovationUT = 0.25
	lag1         = 0.6
	readingsHz   = 50
	readingsEach = 4
	rateHz       = readingsHz / float64(readingsEach)

	dwellS     = 4.8 // of a capture that is not pulsed
	moveS      = 8.
	pauseS     = 90.
	baseEvery  = 10
	repeats    = 5
	background = 8
)

// rhythm returns the rhythm of a pulsed capture: four times two seconds on and two off.
func rhythm() logbook.Rhythm { return logbook.Rhythm{Pulses: 4, OnS: 2, OffS: 2, DropS: 0.2} }

// Plan says what to walk. The zero value is the whole survey.
type Plan struct {
	Round    uint64           // every round has its own hand, noise and amperes
	First    int              // number of the first run; 0: 1
	Stations []survey.Station // nil: those of the craft
	States   []string         // a run each; nil: background, unpowered, every load
	ClockS   float64          // when the walk begins, seconds after the survey began
	Day      int              // days after the survey: another session
	TurnDeg  float64          // clockwise, of the bench since the survey
	SaidDeg  float64          // of that, what the header says
}

// Surveys returns the runs of one whole survey: a few places with the craft away, all
// stations unpowered, then every load pulsed at all stations, with labels. Stations are
// walked to and fro, with returns to base and a few repeats.
func (b *Built) Surveys() []*logbook.Run { return b.Walk(Plan{}) }

// Walk returns the runs of a plan.
func (b *Built) Walk(p Plan) []*logbook.Run {
	w := b.walker(p)
	if p.Stations == nil {
		p.Stations = toAndFro(b.Craft.Stations())
	}
	if p.States == nil {
		p.States = b.Craft.States()
	}
	var runs []*logbook.Run
	for i, state := range p.States {
		stations := p.Stations
		if state == survey.StateBackground {
			stations = spread(stations, background)
		}
		run := w.run(max(p.First, 1)+i, state, b.visits(stations, state))
		runs = append(runs, run)
	}
	return runs
}

// Proof returns runs with the module at a spot, one of each load, pulsed, with one
// setting-down for each of yawDeg (one at 0 if there is none): its arrow that many
// degrees clockwise off the nose, besides the hand's own scatter. The module lies within
// SlipMM of the spot. first is the number of the first run. The station is called
// "spot", its place is the point under the foot.
func (b *Built) Proof(first int, foot r2.Vec, heightMM float64, yawDeg ...float64) []*logbook.Run {
	w := b.walker(Plan{Round: 500, ClockS: 3 * 3600})
	w.proof = true
	at := r3.Vec{X: foot.X, Y: foot.Y, Z: b.Craft.SurfaceZ(foot.X, foot.Y) - heightMM}
	if len(yawDeg) == 0 {
		yawDeg = []float64{0}
	}
	var visits []visit
	for _, y := range yawDeg {
		visits = append(visits, visit{survey.Station{Name: "spot", At: at}, logbook.VisitStation, y})
	}
	var runs []*logbook.Run
	for i, l := range b.Craft.Loads {
		run := w.run(first+i, l.Name, visits)
		run.Header.Proof = true
		runs = append(runs, run)
	}
	return runs
}

// Change is what became different since the survey.
type Change struct {
	At, MomentAm2 r3.Vec  // a magnet added to the craft; no moment: none
	TurnDeg       float64 // clockwise, of the bench
	SaidDeg       float64 // of that, what the header says
	Round         uint64  // each has its own hand and noise
}

// Changed returns the craft with the magnet of the change in it, a disc of 6 by 3 mm,
// and the bench not turned.
func (b *Built) Changed(c Change) *Built {
	out := *b
	if m := r3.Norm(c.MomentAm2); m > 0 {
		disc := cylinder(c.At, r3.Scale(1/m, c.MomentAm2), 3, 3)
		out.still = append(slices.Clone(b.still), magnetised(disc, c.MomentAm2)...)
	}
	return &out
}

// Resurvey returns the runs of a second survey a week later, after a change, with
// numbers from first up.
func (b *Built) Resurvey(first int, c Change) []*logbook.Run {
	return b.Changed(c).Walk(Plan{Round: 1000 + c.Round, First: first, Day: 7, ClockS: 7 * 86400, TurnDeg: c.TurnDeg, SaidDeg: c.SaidDeg})
}

// visit is one stop of a walk.
type visit struct {
	station survey.Station
	why     logbook.Visit
	yawDeg  float64
}

// visits returns the stops over the stations: base first, every ten stations and last,
// repeats at the end.
func (b *Built) visits(stations []survey.Station, state string) []visit {
	base := visit{*b.Craft.Base, logbook.VisitBase, 0}
	var out []visit
	for i, s := range stations {
		if i%baseEvery == 0 {
			out = append(out, base)
		}
		out = append(out, visit{s, logbook.VisitStation, 0})
	}
	if state != survey.StateBackground {
		for i := range min(repeats, len(stations)) {
			out = append(out, visit{stations[i*len(stations)/repeats], logbook.VisitRepeat, 0})
		}
	}
	return append(out, base)
}

// toAndFro turns every second row of stations round.
func toAndFro(all []survey.Station) []survey.Station {
	out, start := slices.Clone(all), 0
	for i, row := 1, 0; i <= len(out); i++ {
		if i == len(out) || out[i].At.X != out[start].At.X {
			if row%2 == 1 {
				slices.Reverse(out[start:i])
			}
			start, row = i, row+1
		}
	}
	return out
}

// spread picks n stations, evenly from the list.
func spread(all []survey.Station, n int) []survey.Station {
	var out []survey.Station
	for i := range min(n, len(all)) {
		out = append(out, all[i*len(all)/min(n, len(all))])
	}
	return out
}

// walker is a hand with a probe at a bench.
type walker struct {
	b       *Built
	p       Plan
	noseDeg float64
	iron    []dipole
	rng     *rand.Rand
	clock   float64 // of the room
	noise   r3.Vec
	proof   bool
}

func (b *Built) walker(p Plan) *walker {
	w := &walker{b: b, p: p, noseDeg: b.NoseDeg + p.TurnDeg, iron: b.bench, rng: b.random(streamWalk + p.Round), clock: p.ClockS}
	if p.TurnDeg != 0 {
		w.iron = b.induced(w.noseDeg)
	}
	w.noise = r3.Scale(innovationUT/math.Sqrt(1-lag1*lag1), normal3(w.rng))
	return w
}

// run walks the visits in a state.
func (w *walker) run(number int, state string, visits []visit) *logbook.Run {
	c, nose := w.b.Craft, math.Mod(w.b.NoseDeg+w.p.SaidDeg+360, 360)
	h := logbook.Header{
		Run: number, Craft: c.Name, CraftSHA256: c.SHA256, State: state,
		Probe: c.Module.Name, Axes: c.Module.Axes, Decoder: "simulated", Tool: "simulated",
		Started: day.Add(time.Duration(w.clock * float64(time.Second))), NoseDeg: &nose, Fitted: slices.Clone(c.Body.Fitted),
	}
	h.Session = h.Started.Format(time.DateOnly)
	level := 0.0
	if _, ok := c.LoadByName(state); ok {
		r, stated := rhythm(), w.b.BenchA[state]
		h.Pulsed, h.Rhythm, level = true, &r, 1
		if stated > 0 {
			h.CurrentA, level = &stated, stated*(1+amperePart*w.rng.NormFloat64())
		}
	}
	run := &logbook.Run{Header: h}
	began := w.clock
	for i, v := range visits {
		k := w.capture(state, level, v, began)
		k.Number = i + 1
		show(&k, h)
		run.Captures = append(run.Captures, k)
		w.clock += moveS
	}
	w.clock += pauseS
	return run
}

// setDown draws where the foot really stands and how the case is turned: from the frame
// of the case to the craft frame.
func (w *walker) setDown(v visit) (slip r3.Vec, pose r3.Rotation) {
	slip = r3.Vec{X: placeMM * w.rng.NormFloat64(), Y: placeMM * w.rng.NormFloat64()}
	if long, angle := w.rng.Float64() < slipPart, 2*math.Pi*w.rng.Float64(); long {
		slip = r3.Add(slip, r3.Vec{X: longSlipMM * math.Cos(angle), Y: longSlipMM * math.Sin(angle)})
	}
	if w.proof {
		slip = w.b.Slipped(r3.Vec{}, w.rng)
	}
	turn := r3.Add(r3.Scale(poseDeg, normal3(w.rng)), r3.Vec{Z: v.yawDeg})
	angle := r3.Norm(turn)
	return slip, r3.NewRotation(angle*math.Pi/180, r3.Scale(1/angle, turn))
}

// capture is one dwell at one stop.
func (w *walker) capture(state string, level float64, v visit, began float64) logbook.Capture {
	slip, pose := w.setDown(v)
	m := w.b.Craft.Module
	at := r3.Add(r3.Add(v.station.At, slip), pose.Rotate(m.SensorAt(r3.Vec{}, 0)))
	off := w.b.room.field(at, w.noseDeg)
	if state != survey.StateBackground {
		off = r3.Add(off, r3.Add(fieldOf(w.b.still, at), fieldOf(w.iron, at)))
	}
	var shift r3.Vec
	seconds := dwellS
	if level != 0 {
		shift = r3.Scale(level, w.b.shifts[state].field(at))
		r := rhythm()
		seconds = r.OffS + float64(r.Pulses)*(r.OnS+r.OffS)
	}
	k := logbook.Capture{Station: v.station.Name, At: v.station.At, Visit: v.why, Time: day.Add(time.Duration(w.clock * float64(time.Second)))}
	n := int(math.Round(seconds * rateHz))
	first, last := w.b.room.drift(w.clock, w.noseDeg), w.b.room.drift(w.clock+seconds, w.noseDeg)
	home := pose
	home.Real = -home.Real // the inverse of a unit quaternion, but for its sign
	axes := m.Axes.Transpose()
	pulsed := false
	for i := range n {
		t := float64(i) / rateHz
		on := level != 0 && int(t/2+1e-9)%2 == 1
		pulsed = pulsed || on
		part := t / seconds
		field := r3.Add(off, r3.Add(r3.Scale(1-part, first), r3.Scale(part, last)))
		switch {
		case on:
			field = r3.Add(field, shift)
		case pulsed:
			field = r3.Add(field, r3.Scale(w.b.RemanentPart, shift))
		}
		s := survey.Sample{TS: w.clock - began + t, B: clipped(r3.Add(axes.Apply(home.Rotate(field)), w.read()), rangeUT)}
		if level != 0 {
			s.LoadOn, s.Has = on, survey.HasLoadOn
		}
		k.Samples = append(k.Samples, s)
	}
	w.clock += seconds
	return k
}

// read returns the noise of one sample: the mean of several readings of a sensor whose
// noise is a first-order autoregression.
func (w *walker) read() r3.Vec {
	var sum r3.Vec
	for range readingsEach {
		w.noise = r3.Add(r3.Scale(lag1, w.noise), r3.Scale(innovationUT, normal3(w.rng)))
		sum = r3.Add(sum, w.noise)
	}
	return r3.Scale(1./readingsEach, sum)
}

// show fills in what the operator would have been shown.
func show(k *logbook.Capture, h logbook.Header) {
	var sum r3.Vec
	for _, s := range k.Samples {
		sum = r3.Add(sum, s.B)
	}
	k.BUT = h.Axes.Apply(r3.Scale(1/float64(len(k.Samples)), sum))
	k.UncertaintyUT = innovationUT / (1 - lag1) / math.Sqrt(readingsEach*float64(len(k.Samples)))
}
