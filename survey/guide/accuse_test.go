package guide_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
	"quietmount/survey"
	"quietmount/survey/guide"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
)

// subject is a simulated craft and the hand that walks it.
type subject struct {
	world *sim.World
	hand  sim.Hand
}

// subjects are invented catamarans and random craft of every family, each of
// another make, room and hand.
func subjects(t *testing.T, n int) []subject {
	t.Helper()
	var out []subject
	for i := range uint64(n) {
		if i%5 == 4 {
			w, err := sim.Sandpiper(i)
			if err != nil {
				t.Fatal(err)
			}
			out = append(out, subject{w, sim.DefaultHand()})
			continue
		}
		drawn, err := trial.Random(i, trial.Families()[i%5], true)
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, subject{drawn.World, drawn.Hand})
	}
	return out
}

// slip is what goes wrong on a walk, at the first visit to a station.
type slip struct {
	wrong     map[string]r3.Vec // set down there instead
	backwards map[string]bool
}

func (s slip) at(name string) bool { return s.wrong[name] != (r3.Vec{}) || s.backwards[name] }

// outcome of a walk: what was said, of whom.
type outcome struct {
	stations int
	guilty   int // slips named at a station that slipped
	innocent []guide.Event
	been     map[string]bool
}

// walk goes over all stations. The operator looks when a slip is suspected,
// and captures the station again if there was one.
func (s subject) walk(t *testing.T, state string, seed uint64, made slip, prior map[string]r3.Vec) outcome {
	t.Helper()
	craft := s.world.Craft
	w, err := guide.New(guide.Config{Craft: craft, State: state, SkipChecklist: true, Axes: craft.MeasuringModule().Axes, Prior: prior})
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(seed, 0xacc))
	out := outcome{stations: len(craft.Stations()), been: map[string]bool{}}
	set := map[string]bool{} // slips set right
	events, ts := w.Start(), 0.0
	for !w.Over() {
		var at guide.Event
		for _, e := range events {
			if e.Kind == guide.Go {
				at = e
			}
		}
		name := at.Station.Name
		ts += 12
		b := s.reading(rng, at.Station, ts, made, made.at(name) && !set[name])
		out.been[name] = true
		events = w.Take(logbook.Capture{Station: name, At: at.Station.At, Visit: at.Visit, BUT: b}, 12)
		for _, e := range events {
			switch e.Code() {
			case guide.CodeWrongMark, guide.CodeTurnedArrow, "lifted":
			default:
				continue
			}
			accused := e.Station.Name
			if !made.at(accused) || set[accused] {
				out.innocent = append(out.innocent, e)
				continue
			}
			out.guilty++
			set[accused] = true
			events = append(events, w.Command(guide.Command{Kind: guide.CmdRedo, Text: accused})...)
			if len(made.wrong) == 2 { // the other of the pair too
				for other := range made.wrong {
					if out.been[other] && !set[other] {
						set[other] = true
						events = append(events, w.Command(guide.Command{Kind: guide.CmdRedo, Text: other})...)
					}
				}
			}
			break
		}
	}
	return out
}

// reading is what the probe gives at a mark, the slip made there included.
func (s subject) reading(rng *rand.Rand, at survey.Station, ts float64, made slip, slips bool) r3.Vec {
	pose, foot := s.hand.Place(rng), at.At
	if p, ok := made.wrong[at.Name]; slips && ok {
		foot = p
	}
	if slips && made.backwards[at.Name] {
		pose = pose.Backwards()
	}
	sensor := s.world.Craft.MeasuringModule().SensorAt(foot, 0)
	return pose.Turn.Apply(s.world.Field(r3.Add(sensor, pose.Slip), ts, sim.State{}))
}

// readings are those of an honest earlier run.
func (s subject) readings(seed uint64) map[string]r3.Vec {
	rng := rand.New(rand.NewPCG(seed, 0xacc))
	out := map[string]r3.Vec{}
	for _, q := range s.world.Craft.Stations() {
		out[q.Name] = s.reading(rng, q, 0, slip{}, false)
	}
	return out
}

// neighbours are two stations next to each other, drawn at random.
func (s subject) neighbours(rng *rand.Rand) (a, b survey.Station) {
	all := s.world.Craft.Stations()
	a = all[rng.IntN(len(all))]
	best := math.Inf(1)
	for _, q := range all {
		if d := r3.Norm(r3.Sub(q.At, a.At)); q.Name != a.Name && d < best {
			best, b = d, q
		}
	}
	return a, b
}

// shows is how much of a slip there is to see, microtesla.
func (s subject) shows(a, b survey.Station, kind string) float64 {
	at := func(q survey.Station) r3.Vec {
		return s.world.Field(s.world.Craft.MeasuringModule().SensorAt(q.At, 0), 0, sim.State{})
	}
	if kind == backwards {
		return 2 * math.Hypot(at(a).X, at(a).Y)
	}
	return r3.Norm(r3.Sub(at(a), at(b)))
}

// The kinds of walk.
const (
	honest    = "honest"
	wrongMark = "wrong mark"
	exchanged = "marks exchanged"
	backwards = "arrow backwards"
)

func made(kind string, a, b survey.Station) slip {
	switch kind {
	case wrongMark:
		return slip{wrong: map[string]r3.Vec{a.Name: b.At}}
	case exchanged:
		return slip{wrong: map[string]r3.Vec{a.Name: b.At, b.Name: a.At}}
	case backwards:
		return slip{backwards: map[string]bool{a.Name: true}}
	}
	return slip{}
}

// tally counts over walks of one kind.
type tally struct{ stations, innocent, slips, named int }

// clearUT: a slip that changes the reading by less is hard to see and does
// little harm.
const clearUT = 15

// count walks every subject once with a slip of that kind.
func count(t *testing.T, n int, kind string, withPrior bool) (c tally) {
	t.Helper()
	for i, s := range subjects(t, n) {
		seed := uint64(i)
		a, b := s.neighbours(rand.New(rand.NewPCG(seed, 5)))
		state, prior := survey.StateUnpowered, map[string]r3.Vec(nil)
		if withPrior {
			state, prior = s.world.Craft.Loads[0].Name, s.readings(seed+1000)
		}
		o := s.walk(t, state, seed, made(kind, a, b), prior)
		c.stations, c.innocent = c.stations+o.stations, c.innocent+len(o.innocent)
		if kind != honest && s.shows(a, b, kind) > clearUT {
			c.slips++
			c.named += min(1, o.guilty)
		}
	}
	return c
}

// TestAccusations walks simulated craft honestly and with one slip each,
// without and with an earlier run to compare with, and holds both kinds of
// error to a bound. A single wrong mark can be told from a bold field only
// where an earlier run is there to compare with, and then not always.
func TestAccusations(t *testing.T) {
	for _, tt := range []struct {
		kind      string
		withPrior bool
		named     float64 // at least, of the clear slips
	}{
		{honest, false, 0},
		{honest, true, 0},
		{wrongMark, true, 0.2},
		{exchanged, true, 0.2},
		{backwards, false, 0.4},
		{backwards, true, 0.6},
	} {
		t.Run(fmt.Sprintf("%s, earlier run %v", tt.kind, tt.withPrior), func(t *testing.T) {
			t.Parallel()
			n := 12
			if tt.kind == honest {
				n = 40
			}
			n = simtest.Trials(5, n) // five are one of each family and a catamaran
			c := count(t, n, tt.kind, tt.withPrior)
			t.Logf("%d walks, %d stations: %d innocent accused (%.2f %%); %d of %d clear slips named",
				n, c.stations, c.innocent, 100*float64(c.innocent)/float64(c.stations), c.named, c.slips)
			if c.innocent > max(1, c.stations/200) {
				t.Errorf("%d of %d innocent stations accused, want one or 0.5 %%", c.innocent, c.stations)
			}
			if float64(c.named) < tt.named*float64(c.slips) {
				t.Errorf("%d of %d clear slips named, want %.0f %%", c.named, c.slips, 100*tt.named)
			}
		})
	}
}
