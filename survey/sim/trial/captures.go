package trial

import (
	"math"
	"math/rand/v2"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
)

// RunOptions say which run Captures is to fabricate.
type RunOptions struct {
	Number     int // in the folder; 0: 1
	State      string
	CurrentA   float64 // while on; of a moving load: 0
	Substitute bool
	Pulsed     bool
	Rhythm     logbook.Rhythm   // of a pulsed run; zero: DefaultRhythm
	Labels     bool             // the module sends load_on with every sample
	Stations   []survey.Station // in the order of the walk
	BaseEvery  int              // stations between returns to the craft's base station, and one at start and end; 0: 10; negative or no base: never
	Repeats    int              // stations captured a second time, spread over the walk
	Samples    int              // of a dwell that is not pulsed; 0: 120
	Started    time.Time
	Session    string
	ClockS     float64  // seconds on the room's clock at the start of the run
	MoveS      float64  // from one dwell to the next; 0: 8 s
	Seed       uint64   // of hand, noise and operator
	NoseDeg    *float64 // nil: as the world says
}

// visit is one stop of the walk.
type visit struct {
	station survey.Station
	why     logbook.Visit
}

// Captures fabricates a run: for every visit a pose drawn from the hand, then
// the samples of the dwell, as Source would have sent them between settling
// and lifting. The world must have a craft. A state that is no load of the
// craft's has no current. The drift is taken as straight within a dwell.
func Captures(w *sim.World, p sim.Probe, h sim.Hand, o RunOptions) *logbook.Run {
	o = o.withDefaults()
	if o.NoseDeg != nil {
		w = w.Turned(*o.NoseDeg)
	}
	f := &fabric{w: w, p: p, h: h, o: o, rng: rand.New(rand.NewPCG(o.Seed, 0x51ca))}
	f.module = w.Craft.MeasuringModule()
	f.sensor = sim.NewSensor(p, f.module, f.rng)
	run := &logbook.Run{Header: f.header()}
	for i, v := range o.visits(w.Craft.Base) {
		c := f.capture(v)
		c.Number = i + 1
		run.Captures = append(run.Captures, c)
		f.t += o.MoveS
	}
	return run
}

func (o RunOptions) withDefaults() RunOptions {
	if o.Pulsed && o.Rhythm == (logbook.Rhythm{}) {
		o.Rhythm = logbook.DefaultRhythm()
	}
	if o.Number == 0 {
		o.Number = 1
	}
	if o.BaseEvery == 0 {
		o.BaseEvery = 10
	}
	if o.Samples == 0 {
		o.Samples = 120
	}
	if o.MoveS == 0 {
		o.MoveS = 8
	}
	if o.Session == "" {
		o.Session = o.Started.Format(time.DateOnly)
	}
	return o
}

// visits returns the walk: the stations, returns to base, repeats at the end.
func (o RunOptions) visits(base *survey.Station) []visit {
	var out []visit
	atBase := func() {
		if base != nil && o.BaseEvery > 0 {
			out = append(out, visit{*base, logbook.VisitBase})
		}
	}
	for i, s := range o.Stations {
		if o.BaseEvery > 0 && i%o.BaseEvery == 0 {
			atBase()
		}
		out = append(out, visit{s, logbook.VisitStation})
	}
	for i := range min(o.Repeats, len(o.Stations)) {
		out = append(out, visit{o.Stations[i*len(o.Stations)/o.Repeats], logbook.VisitRepeat})
	}
	atBase()
	return out
}

// fabric is a run in the making.
type fabric struct {
	w      *sim.World
	p      sim.Probe
	h      sim.Hand
	o      RunOptions
	rng    *rand.Rand
	module survey.Module
	sensor *sim.Sensor
	t      float64 // of the run
}

func (f *fabric) header() logbook.Header {
	nose := f.w.NoseDeg
	hd := logbook.Header{
		Run: f.o.Number, CraftSHA256: f.w.Craft.SHA256, Craft: f.w.Craft.Name,
		State: f.o.State, Substitute: f.o.Substitute, Pulsed: f.o.Pulsed,
		Probe: f.module.Name, Axes: f.module.Axes, Decoder: "simulated", Tool: "simulated",
		Started: f.o.Started, Session: f.o.Session, NoseDeg: &nose, Fitted: f.w.Craft.Body.Fitted,
	}
	if f.o.CurrentA != 0 {
		hd.CurrentA = &f.o.CurrentA
	}
	if f.o.Pulsed {
		r := f.o.Rhythm
		hd.Rhythm = &r
	}
	return hd
}

// capture returns one dwell at one station.
func (f *fabric) capture(v visit) logbook.Capture {
	pose := f.h.Place(f.rng)
	at := r3.Add(f.module.SensorAt(v.station.At, 0), pose.Slip)
	state := sim.State{Away: f.o.State == survey.StateBackground}
	off := f.w.Field(at, f.o.ClockS+f.t, state)
	var shift r3.Vec
	if !state.Away && f.o.State != survey.StateUnpowered {
		shift = f.w.LoadField(f.o.State, f.level(), at)
	}
	c := logbook.Capture{
		Station: v.station.Name, At: v.station.At, Visit: v.why,
		Time: f.o.Started.Add(time.Duration(f.t * float64(time.Second))),
	}
	prompts, edges, seconds := f.switching()
	c.Prompts = prompts
	n := int(math.Round(seconds * f.p.RateHz))
	slope := r3.Scale(1/max(seconds, 1e-9), r3.Sub(f.drift(f.t+seconds), f.drift(f.t)))
	c.Samples = make([]survey.Sample, n)
	start, next, on := f.t, 0, !f.o.Pulsed
	for i := range c.Samples {
		dt := float64(i) / f.p.RateHz
		for next < len(edges) && start+dt >= edges[next] {
			on, next = !on, next+1
		}
		b := r3.Add(off, r3.Scale(dt, slope))
		if on {
			b = r3.Add(b, shift)
		}
		c.Samples[i] = f.sample(start+dt, pose.Turn.Apply(b), pose, on)
	}
	f.t += seconds
	c.BUT, c.UncertaintyUT = f.acknowledged(c.Samples)
	return c
}

func (f *fabric) drift(t float64) r3.Vec { return f.w.Drift(f.o.ClockS + t) }

// level returns how far the load of this run goes: its amperes, or its mover's
// other end.
func (f *fabric) level() float64 {
	for _, l := range f.w.Craft.Loads {
		if l.Name == f.o.State && l.Kind == survey.LoadMoving {
			return 1
		}
	}
	return f.o.CurrentA
}

// switching draws the prompts of a dwell (off at its start, then on and off in
// turn), the moments at which the load really changed, off to on first, and
// the length of the dwell.
func (f *fabric) switching() (prompts []logbook.Prompt, edges []float64, seconds float64) {
	if !f.o.Pulsed {
		return nil, nil, float64(f.o.Samples) / f.p.RateHz
	}
	r := f.o.Rhythm
	prompts = []logbook.Prompt{{TS: f.t}}
	t := r.OffS
	for range r.Pulses {
		prompts = append(prompts, logbook.Prompt{TS: f.t + t, On: true}, logbook.Prompt{TS: f.t + t + r.OnS, On: false})
		t += r.OnS + r.OffS
	}
	for _, p := range prompts[1:] {
		edges = append(edges, p.TS+f.h.Lag(f.rng))
	}
	return prompts, edges, t
}

func (f *fabric) sample(t float64, inCase r3.Vec, pose sim.Pose, on bool) survey.Sample {
	s := survey.Sample{TS: t, B: f.sensor.Read(inCase)}
	if f.o.Labels && f.o.Pulsed {
		s.LoadOn, s.Has = on, s.Has|survey.HasLoadOn
	}
	if f.p.Acc {
		s.Acc, s.Has = f.sensor.Gravity(pose), s.Has|survey.HasAcc
	}
	return s
}

// acknowledged returns a plain mean and its standard uncertainty, for people.
func (f *fabric) acknowledged(samples []survey.Sample) (r3.Vec, float64) {
	if len(samples) == 0 {
		return r3.Vec{}, 0
	}
	var sum r3.Vec
	for _, s := range samples {
		sum = r3.Add(sum, s.B)
	}
	mean := r3.Scale(1/float64(len(samples)), sum)
	independent := float64(len(samples)) * (1 - f.p.Lag1) / (1 + f.p.Lag1)
	return sim.AxesOf(f.module).Apply(mean), f.p.NoiseUT / math.Sqrt(max(1, independent))
}
