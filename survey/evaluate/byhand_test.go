package evaluate_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/plane"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/evaluate/evaluatetest"
	"quietmount/survey/logbook"
)

// byHand is a craft with four stations and two motors that run together.
func byHand() *survey.Craft {
	axes := magmath.Identity()
	at := func(name string, x, y float64) survey.Station {
		return survey.Station{Name: name, At: r3.Vec{X: x, Y: y}}
	}
	base := at("T", 900, 0)
	return &survey.Craft{
		Name:    "by hand",
		Site:    survey.Site{LatitudeDeg: 50, LongitudeDeg: 0, Date: "2026-06-01"},
		Module:  survey.Module{Axes: &axes, FootprintMM: r2.Vec{X: 20, Y: 20}},
		Body:    survey.Body{OutlineMM: plane.Polygon{{X: -100, Y: -100}, {X: 100, Y: -100}, {X: 100, Y: 100}, {X: -100, Y: 100}}},
		Heights: []float64{0},
		Singles: []survey.Station{at("A", -40, -40), at("B", 40, -40), at("C", -40, 40), at("D", 40, 40)},
		Base:    &base,
		Loads: []survey.Load{
			{Name: "left", Kind: survey.LoadCurrent, MaxCurrentA: 10, TogetherWith: []string{"right"}},
			{Name: "right", Kind: survey.LoadCurrent, MaxCurrentA: 10},
			{Name: "rudder", Kind: survey.LoadMoving},
		},
		Limits: survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100},
	}
}

// walk makes a run whose field at every station but the base is off, and on
// during the pulses, with a noise of a hundredth of a microtesla.
func walk(c *survey.Craft, number int, state string, pulsed bool, off, on r3.Vec) *logbook.Run {
	rng := rand.New(rand.NewPCG(uint64(number), 1))
	started := time.Date(2026, 6, 1, 9, number, 0, 0, time.UTC)
	r := &logbook.Run{Header: logbook.Header{Run: number, State: state, Axes: c.Module.Axes, Pulsed: pulsed, Started: started, CurrentA: new(10.0)}}
	room := r3.Vec{X: 20, Z: 44}
	for i, s := range append(slices.Clone(c.Singles), *c.Base) {
		k := logbook.Capture{Number: i + 1, Station: s.Name, At: s.At, Time: started}
		for n := range 200 {
			b := room
			x := survey.Sample{TS: float64(200*i+n) * 0.05}
			high := pulsed && n/20%2 == 1
			if pulsed {
				x.LoadOn, x.Has = high, survey.HasLoadOn
			}
			if s.Name != "T" {
				b = r3.Add(b, off)
				if high {
					b = r3.Add(b, on)
				}
			}
			x.B = r3.Add(b, r3.Scale(0.01, r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}))
			k.Samples = append(k.Samples, x)
		}
		r.Captures = append(r.Captures, k)
	}
	return r
}

// Two motors of 2 uT each make 4, not 2; a rudder that excludes them and
// makes 3 changes nothing.
func TestTwoMotorsOfTwoMakeFour(t *testing.T) {
	c := byHand()
	steady := r3.Vec{X: 1, Y: 2, Z: 2}
	f := evaluatetest.Evaluate(t, c, []*logbook.Run{
		walk(c, 1, survey.StateBackground, false, r3.Vec{}, r3.Vec{}),
		walk(c, 2, survey.StateUnpowered, false, steady, r3.Vec{}),
		walk(c, 3, "left", true, steady, r3.Vec{X: 2}),
		walk(c, 4, "right", true, steady, r3.Vec{X: 2}),
		walk(c, 5, "rudder", true, steady, r3.Vec{Y: 3}),
	})
	if len(f.Stations) != 4 {
		t.Fatalf("%d stations", len(f.Stations))
	}
	for _, s := range f.Stations {
		if !slices.Equal(s.Combination, []string{"left", "right"}) {
			t.Errorf("%s: worst combination %v", s.Station.Name, s.Combination)
		}
		if d := r3.Norm(r3.Sub(s.Shifting.Mean, r3.Vec{X: 4})); d > 0.05 {
			t.Errorf("%s: shifting %v, want 4 uT forward", s.Station.Name, s.Shifting.Mean)
		}
		// Worst over all headings: asin(d/H). The upper bound holds 3 % of
		// uncertainty of each current besides the noise.
		want := math.Asin(4/f.HUT) * 180 / math.Pi
		if math.Abs(s.ShiftingError.Estimate-want) > 0.03*want || s.ShiftingError.Upper95 < want {
			t.Errorf("%s: error %.2f (%.2f), by hand %.2f", s.Station.Name, s.ShiftingError.Estimate, s.ShiftingError.Upper95, want)
		}
		// The room is not known better than the pose: about 0.8 uT across.
		if d := r3.Norm(r3.Sub(s.Steady.Mean, steady)); d > 0.1 {
			t.Errorf("%s: steady %v, want %v", s.Station.Name, s.Steady.Mean, steady)
		}
		// |(21,2,46)| - |(20,0,44)| = 50.606 - 48.332.
		if got := *s.MagnitudeDifference; math.Abs(got-2.274) > 0.05 || s.Against != evaluate.AgainstBackground {
			t.Errorf("%s: magnitude difference %.3f against %s, by hand 2.274", s.Station.Name, got, s.Against)
		}
	}
	if f.Factor != 1 {
		t.Errorf("factor %g", f.Factor)
	}
}

// Ten amperes measured at one: ten times the field, and a hundred times its
// variance.
func TestATenthOfTheCurrent(t *testing.T) {
	c := byHand()
	c.Loads = c.Loads[:1]
	low := walk(c, 3, "left", true, r3.Vec{}, r3.Vec{X: 0.5})
	low.Header.CurrentA = new(1.0)
	f := evaluatetest.Evaluate(t, c, []*logbook.Run{walk(c, 2, survey.StateUnpowered, false, r3.Vec{}, r3.Vec{}), low})
	for _, s := range f.Stations {
		if d := r3.Norm(r3.Sub(s.Loads["left"].Mean, r3.Vec{X: 5})); d > 0.15 {
			t.Errorf("%s: %v, want 5 uT forward", s.Station.Name, s.Loads["left"].Mean)
		}
	}
	if f.Factor != 10 || f.Loads[0].CurrentA != 1 {
		t.Errorf("factor %g, measured at %g A", f.Factor, f.Loads[0].CurrentA)
	}
}

// The off levels of pulsed captures are captures of the unpowered craft.
func TestPulsedRunsAloneGiveTheSteadyPart(t *testing.T) {
	c := byHand()
	steady := r3.Vec{X: -3, Y: 1}
	f := evaluatetest.Evaluate(t, c, []*logbook.Run{
		walk(c, 1, survey.StateBackground, false, r3.Vec{}, r3.Vec{}),
		walk(c, 3, "left", true, steady, r3.Vec{X: 2}),
	})
	for _, s := range f.Stations {
		if s.Steady == nil || r3.Norm(r3.Sub(s.Steady.Mean, steady)) > 0.1 {
			t.Errorf("%s: steady %v, want %v", s.Station.Name, s.Steady, steady)
		}
	}
	if remark.Has(f.Notes, "evaluate.no_unpowered") {
		t.Errorf("%v", f.Notes)
	}
}
