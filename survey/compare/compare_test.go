package compare_test

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/simtest"
	"quietmount/magmath/source"
	"quietmount/survey"
	"quietmount/survey/compare"
	"quietmount/survey/logbook"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
	"quietmount/survey/sim/walktest"
)

// resurvey fabricates two surveys of one random craft, background and
// unpowered, with something done to the world in between.
func resurvey(t *testing.T, seed uint64, between func(*sim.World) *sim.World) (*survey.Craft, []*logbook.Run) {
	t.Helper()
	families := trial.Families()
	drawn, err := trial.Random(seed, families[seed%uint64(len(families))], false)
	if err != nil {
		t.Fatal(err)
	}
	before := drawn.World
	after := between(before)
	var runs []*logbook.Run
	for i, w := range []*sim.World{before, after} {
		day := time.Date(2026, 6, 1+20*i, 9, 0, 0, 0, time.UTC)
		clock := float64(i) * 4000
		for k, state := range []string{survey.StateBackground, survey.StateUnpowered} {
			o := trial.RunOptions{
				Number: 2*i + k + 1, State: state, Stations: w.Craft.Stations(), Samples: 40, Started: day.Add(time.Duration(k) * time.Hour),
				Session: day.Format(time.DateOnly), ClockS: clock + float64(k)*1200, Seed: seed*10 + uint64(2*i+k),
			}
			if state == survey.StateBackground {
				o.Stations = walktest.Every(o.Stations, 8)
			} else {
				o.Repeats = 3
			}
			runs = append(runs, trial.Captures(w, drawn.Probe, drawn.Hand, o))
		}
	}
	return before.Craft, runs
}

func same(w *sim.World) *sim.World { return w }

func turnedBench(w *sim.World) *sim.World { return w.Turned(w.NoseDeg + 5) }

// anotherRoom is a room whose field differs by some microtesla and whose
// gradient runs elsewhere.
func anotherRoom(w *sim.World) *sim.World {
	out := *w
	out.Room.Offset = r3.Add(w.Room.Offset, r3.Vec{X: 3, Y: -2, Z: 4})
	out.Room.Gradient = w.Room.Gradient.Scale(-1)
	return &out
}

// addMagnet puts a magnet of 0.05 A m2, upright, a distance under the sensor
// of a station in the middle of the list.
func addMagnet(underMM float64) func(*sim.World) *sim.World {
	return func(w *sim.World) *sim.World {
		all := w.Craft.Stations()
		at := w.Craft.MeasuringModule().SensorAt(all[len(all)/2].At, 0)
		at.Z += underMM
		out := *w
		out.Magnets = append(append([]source.Dipole{}, w.Magnets...), source.Dipole{AtMM: at, MomentAm2: r3.Vec{Z: 0.05}})
		return &out
	}
}

func compareTwo(t *testing.T, craft *survey.Craft, runs []*logbook.Run) *compare.Comparison {
	t.Helper()
	c, err := compare.Compare(t.Context(), craft, runs, runs[1:2], runs[3:4], compare.Options{})
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// How often an unchanged craft is called changed, and how often a magnet that
// was added is seen, over random craft. QUIETMOUNT_EVIDENCE=1 takes a hundred
// of each (ten minutes).
func TestCompareOverRandomCraft(t *testing.T) {
	trials, powers, distances := simtest.Trials(1, 100), simtest.Trials(1, 20), []float64{40}
	if simtest.Whole() {
		distances = []float64{40, 60, 80, 100, 150, 200}
	}
	for k, c := range []struct {
		name    string
		between func(*sim.World) *sim.World
	}{{"same bench", same}, {"bench turned by 5 degrees", turnedBench}, {"another room", anotherRoom}} {
		alarms, stations, called := 0, 0, 0
		for i := range trials {
			craft, runs := resurvey(t, uint64(1000*k+i+1), c.between)
			got := compareTwo(t, craft, runs)
			if got.Result.Changed {
				alarms++
			}
			stations += len(got.Stations)
			called += len(got.Named())
		}
		t.Logf("%-26s false alarm %2d of %d surveys; %d of %d stations called changed", c.name, alarms, trials, called, stations)
		// A rate of 0.06 and three standard errors.
		if most := 0.06*float64(trials) + 3*math.Sqrt(0.06*0.94*float64(trials)); float64(alarms) > most {
			t.Errorf("%s: %d of %d surveys raise a false alarm, at most %.1f", c.name, alarms, trials, most)
		}
	}
	for _, under := range distances {
		seen, near := 0, 0
		for i := range powers {
			craft, runs := resurvey(t, uint64(5000+i), addMagnet(under))
			got := compareTwo(t, craft, runs)
			if got.Result.Changed {
				seen++
			}
			all := craft.Stations()
			at := craft.MeasuringModule().SensorAt(all[len(all)/2].At, 0)
			at.Z += under
			for _, s := range got.Sources {
				if r3.Norm(r3.Sub(s.AtMM, at)) < 40 {
					near++
					break
				}
			}
		}
		t.Logf("0.05 A m2 at %3.0f mm: seen in %2d of %d, placed within 40 mm in %d", under, seen, powers, near)
		if under <= 60 && 10*seen < 9*powers {
			t.Errorf("a magnet %.0f mm under a station is seen in %d of %d surveys only", under, seen, powers)
		}
	}
}

func TestCompareSaysWhatWasFitted(t *testing.T) {
	craft, runs := resurvey(t, 77, same)
	runs[1].Header.Fitted = []string{"hatch shut", "pack A"}
	runs[3].Header.Fitted = []string{"hatch shut", "pack B"}
	c := compareTwo(t, craft, runs)
	want := []remark.Remark{remark.New("compare.fitted_before", remark.Values{"fitted": "pack A"}), remark.New("compare.fitted_after", remark.Values{"fitted": "pack B"})}
	if !reflect.DeepEqual(c.Fitted, want) {
		t.Errorf("fitted: %v, want %v", c.Fitted, want)
	}
}

// A magnet under the first spot brings it over the steady limit.
func TestVerdictFalls(t *testing.T) {
	craft, runs := resurvey(t, 42, same)
	c := compareTwo(t, craft, runs)
	if c.Verdict == nil || !c.Verdict.Stands {
		t.Fatalf("unchanged craft: verdict %+v", c.Verdict)
	}
	at := c.Verdict.Place
	magnet := craft.Module.SensorAt(at.At, 0)
	magnet.Z += 25
	craft, runs = resurvey(t, 42, func(w *sim.World) *sim.World {
		out := *w
		out.Magnets = append(append([]source.Dipole{}, w.Magnets...), source.Dipole{AtMM: magnet, MomentAm2: r3.Vec{Z: 0.3}})
		return &out
	})
	c, err := compare.Compare(t.Context(), craft, runs, runs[1:2], runs[3:4], compare.Options{Spot: &at})
	if err != nil {
		t.Fatal(err)
	}
	if c.Verdict.Stands || !c.Verdict.Stood {
		t.Errorf("with a magnet under the spot: stood %v, stands %v (%v)", c.Verdict.Stood, c.Verdict.Stands, c.Verdict.Why)
	}
}

func TestSides(t *testing.T) {
	run := func(n int, state, session string) *logbook.Run {
		return &logbook.Run{Header: logbook.Header{Run: n, State: state, Session: session}}
	}
	all := []*logbook.Run{run(1, "background", "a"), run(2, "unpowered", "a"), run(3, "motor", "a"), run(4, "unpowered", "a"), run(5, "motor", "a"), run(6, "background", "b"), run(7, "unpowered", "b")}
	numbers := func(runs []*logbook.Run) (out []int) {
		for _, r := range runs {
			out = append(out, r.Header.Run)
		}
		return out
	}
	for _, c := range []struct {
		name          string
		before, after int
		left, right   []int
	}{
		{"two sessions", 2, 7, []int{1, 2, 3, 5}, []int{6, 7}},
		{"one session", 2, 4, []int{1, 2, 3}, []int{1, 4, 5}},
	} {
		l, r := compare.SelectRuns(all, all[c.before-1:c.before], all[c.after-1:c.after])
		if fmt.Sprint(numbers(l)) != fmt.Sprint(c.left) || fmt.Sprint(numbers(r)) != fmt.Sprint(c.right) {
			t.Errorf("%s: %v and %v, want %v and %v", c.name, numbers(l), numbers(r), c.left, c.right)
		}
	}
}

func TestCompareNeedsSomethingInCommon(t *testing.T) {
	craft, runs := resurvey(t, 5, same)
	_, err := compare.Compare(t.Context(), craft, runs, runs[0:1], runs[3:4], compare.Options{})
	if !errors.Is(err, compare.ErrNothingInCommon) {
		t.Errorf("background with unpowered: %v", err)
	}
	// Without backgrounds raw fields are compared, and a near magnet is seen.
	craft, runs = resurvey(t, 5, addMagnet(30))
	c, err := compare.Compare(t.Context(), craft, []*logbook.Run{runs[1], runs[3]}, runs[1:2], runs[3:4], compare.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !c.Raw || !c.Result.Changed {
		t.Errorf("raw %v, changed %v", c.Raw, c.Result.Changed)
	}
}
