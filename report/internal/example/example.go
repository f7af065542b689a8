// Package example holds examples that the tests of several packages share: invented
// craft, fields and findings, a simulated survey and comparison, and a swing from
// a handbook. Start reading at Board and Findings.
package example

import (
	"context"
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/geomag"
	"quietmount/magmath/heading"
	"quietmount/magmath/plane"
	"quietmount/magmath/remark"
	"quietmount/magmath/siting"
	"quietmount/magmath/source"
	"quietmount/magmath/swing"
	"quietmount/survey"
	"quietmount/survey/compare"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
	"quietmount/survey/rank"
	"quietmount/survey/sim"
	"quietmount/survey/sim/trial"
)

// Bump is an invented field along x: one smooth hill on a uniform ground. Its
// standard uncertainty grows with the distance from the hill.
type Bump struct {
	Middle r3.Vec
	Peak   float64 // uT
	Width  float64 // mm
	Ground float64 // uT
	SD     float64 // uT
	Grow   float64 // uT more for each mm from the middle
}

// At returns the field at a place of the craft, mm, and its covariance.
func (b Bump) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	d := r3.Norm(r3.Sub(p, b.Middle))
	v := b.Ground
	if b.Peak != 0 {
		v += b.Peak * math.Exp(-d*d/b.Width/b.Width/2)
	}
	sd := b.SD + b.Grow*d
	return r3.Vec{X: v}, magmath.Diagonal(sd*sd, sd*sd, sd*sd)
}

// Box returns a rectangular outline around the datum, mm.
func Box(length, width float64) plane.Polygon {
	return plane.Polygon{{X: length / 2, Y: -width / 2}, {X: length / 2, Y: width / 2}, {X: -length / 2, Y: width / 2}, {X: -length / 2, Y: -width / 2}}
}

// Findings returns the findings of a survey of c in which the shifting part (of one
// load, "motor", which it adds to c) and the steady part are the given fields; nil:
// not measured.
func Findings(c *survey.Craft, shifting, steady evaluate.Field) *evaluate.Findings {
	f := &evaluate.Findings{
		Craft: c, Date: "2026-06-01", Basis: evaluate.BasisVector, HUT: 18.5, Model: geomag.WMM2025().Name(),
		Reference: geomag.Elements{H: 18500, F: 49000},
		LeftOut:   map[string]evaluate.LeftOut{"shifting": {RMSEUT: 0.21, Inside95Fraction: 0.94, Stations: 12}},
		Factor:    1.5,
		Map:       &evaluate.Map{Loads: map[string]evaluate.Field{}, Kernels: map[string]string{"motor": "an invented hill"}},
		Runs:      []*logbook.Run{{File: "runs/0001-background.jsonl", Header: logbook.Header{Run: 1, State: "background"}}},
	}
	if shifting != nil {
		c.Loads = []survey.Load{{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 10}}
		f.Map.Loads["motor"] = shifting
		f.Map.Combinations = [][]string{{"motor"}}
	}
	f.Map.Steady = steady
	sampler := heading.NewSampler(1)
	for _, s := range c.Stations() {
		sensor := c.Module.SensorAt(s.At, 0)
		sf := evaluate.StationFinding{Station: s, Sensor: sensor, Captures: 1}
		if shifting != nil {
			m, v := shifting.At(sensor)
			sf.Shifting = &evaluate.Estimate{Mean: m, Cov: v}
			e := sampler.Posterior(heading.Load{Mean: m, Cov: v}, f.Mounting().Level())
			sf.ShiftingError, sf.Combination = &e, []string{"motor"}
			sf.Loads = map[string]evaluate.Estimate{"motor": *sf.Shifting}
		}
		if steady != nil {
			m, v := steady.At(sensor)
			sf.Steady = &evaluate.Estimate{Mean: m, Cov: v}
			e := sampler.Posterior(heading.Load{Mean: m, Cov: v}, f.Mounting().Level())
			sf.SteadyError = &e
			sf.MagnitudeDifference = new(m.X)
		}
		f.Stations = append(f.Stations, sf)
	}
	return f
}

// Board returns an invented plain craft with a grid of stations, mm.
func Board(length, width, spacing float64) *survey.Craft {
	return &survey.Craft{
		Name: "Board", Body: survey.Body{OutlineMM: Box(length, width)}, Heights: []float64{0},
		Module: survey.Module{Name: "puck", SensorHeightMM: 5, FootprintMM: r2.Vec{X: 30, Y: 20}},
		Grid:   &survey.Grid{SpacingMM: spacing},
		Limits: survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100},
	}
}

// Sandpiper is a survey of the invented catamaran, simulated once for all tests of
// a package, which must not change it.
var Sandpiper = sync.OnceValues(func() (surveyed, error) {
	w, err := sim.Sandpiper(1)
	if err != nil {
		return surveyed{}, err
	}
	var some []survey.Station
	for i, s := range w.Craft.Stations() {
		if i%2 == 0 {
			some = append(some, s)
		}
	}
	runs := trial.Folder(w, sim.DefaultProbe(), sim.DefaultHand(), trial.FolderOptions{
		Pulsed: true, CurrentPart: 0.7, Stations: some, Seed: 1,
		Started: time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC),
	})
	for _, r := range runs {
		r.File = fmt.Sprintf("runs/%04d-%s.jsonl", r.Header.Run, strings.ReplaceAll(r.Header.State, " ", "-"))
	}
	f, err := evaluate.Evaluate(context.Background(), w.Craft, runs, evaluate.Options{Date: "2026-06-01"})
	if err != nil {
		return surveyed{}, err
	}
	ranking, err := rank.Rank(context.Background(), f, rank.Options{Most: 6})
	return surveyed{f, ranking}, err
})

type surveyed struct {
	Found   *evaluate.Findings
	Ranking *rank.Ranking
}

// RankedBoard returns an invented survey with every remark that a table can hold.
func RankedBoard() (*evaluate.Findings, *rank.Ranking) {
	c := Board(300, 500, 100)
	c.Singles = []survey.Station{{Name: "東北東の駅と長い名前", At: r3.Vec{X: 40, Y: 10}}}
	f := Findings(c, Bump{Middle: r3.Vec{Y: -200, Z: -5}, Peak: 30, Width: 60, Ground: 0.4, SD: 0.05}, Bump{Middle: r3.Vec{Y: 200, Z: -5}, Peak: 9, Width: 60, Ground: 1, SD: 0.3})
	f.Notes = []remark.Remark{remark.New("evaluate.substitute").At(remark.Place{Load: "motor"})}
	e := func(estimate, upper float64) heading.Error {
		return heading.Error{Quantiles: heading.Quantiles{Estimate: estimate, Upper95: upper}, AnyDirection: estimate >= 180}
	}
	spot := rank.Spot{Rank: 1, At: r3.Vec{X: 100, Y: 140}, NearestStation: "D1", Shifting: e(1.24, 1.61), Steady: e(3, 5),
		SteadyUT: heading.Quantiles{Estimate: 1.1, Upper95: 1.7}, PlacementToleranceMM: 26, CableMM: 198, ExtrapolationFactor: 1.5,
		WorstCombination: []string{"motor"}, BoundWithin: true, WithinBudget: true, WithinSteady: true}
	second := spot
	second.Rank, second.NotToldFromBest, second.Interpolated, second.NearestStation = 2, true, true, "東北東の駅と長い名前"
	third := spot
	third.Rank, third.Shifting, third.BoundWithin, third.WithinBudget, third.PlacementToleranceMM = 3, e(180, 180), false, false, 0
	return f, &rank.Ranking{Spots: []rank.Spot{spot, second, third}, Qualified: true, ByShifting: true,
		Excluded:     map[siting.ConstraintName]float64{{Kind: "keepout", Name: "hatch"}: 0.08, {Kind: "cable"}: 0.3, {Kind: "outline"}: 0},
		NextStations: []rank.NextStation{{At: r3.Vec{X: 20, Y: 60}, Why: remark.New("rank.next_may_be_best", remark.Values{"away_mm": 45., "uncertain_ut": 0.3}).At(remark.Place{Station: "D1"})}}}
}

// WithReadings adds captures at 0, 3 and 6 A of 10 A to invented findings: the
// first two on the fitted line, the last above it.
func WithReadings(f *evaluate.Findings) *evaluate.Findings {
	f.Loads = []evaluate.LoadFinding{{Name: "motor", Measured: true, CurrentA: 6, Factor: 10. / 6, LackOfFitP: 0.4}}
	for i := range f.Stations {
		s := &f.Stations[i]
		s.Loads["motor"] = evaluate.Estimate{Mean: r3.Vec{X: 4, Y: -2, Z: 1}, Cov: magmath.Diagonal(0.09, 0.04, 0.16)}
		for _, amps := range []float64{0, 3, 6} {
			b := r3.Vec{X: 0.4 * amps, Y: -0.2 * amps, Z: 0.1 * amps}
			if amps == 6 {
				b.X += 0.5
			}
			s.Readings = append(s.Readings, evaluate.LoadReading{Load: "motor", CurrentA: amps, B: b, Cov: magmath.Diagonal(0.04, 0.04, 0.04), Run: 3, Capture: i})
		}
	}
	return f
}

// HandbookSwing is the table of NGA, Handbook of Magnetic Compass Adjustment
// (2004, formerly Pub. 226), article 501: deviations on the eight points by
// compass, east positive.
func HandbookSwing(t testing.TB, o swing.Options) swing.Result {
	t.Helper()
	var r []swing.Reading
	for i, d := range []float64{10.5, 20, 11.5, -1.2, -5.5, -8, -12.5, -6.8} {
		r = append(r, swing.Reading{MagneticDeg: 45*float64(i) + d, CompassDeg: 45 * float64(i)})
	}
	s, err := swing.Fit(r, o)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Comparison is a simulated craft surveyed twice, a magnet added in between. It is
// computed once for all tests of a package, which must not change it.
func Comparison(t testing.TB) *compare.Comparison {
	t.Helper()
	c, err := compared()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

var compared = sync.OnceValues(func() (*compare.Comparison, error) {
	drawn, err := trial.Random(3, trial.Hull, false)
	if err != nil {
		return nil, err
	}
	w := *drawn.World
	all := w.Craft.Stations()
	at := w.Craft.MeasuringModule().SensorAt(all[len(all)/2].At, 0)
	at.Z += 30
	w.Magnets = append(append([]source.Dipole{}, w.Magnets...), source.Dipole{AtMM: at, MomentAm2: r3.Vec{X: 0.03, Z: 0.04}})
	var runs []*logbook.Run
	for i, world := range []*sim.World{drawn.World, &w} {
		start := time.Date(2026, 6, 1+i, 9, 0, 0, 0, time.UTC)
		session := start.Format(time.DateOnly)
		runs = append(runs,
			trial.Captures(world, drawn.Probe, drawn.Hand, trial.RunOptions{Number: 2*i + 1, State: survey.StateBackground, Stations: all[:6], Samples: 40, Started: start, Session: session, Seed: uint64(i)}),
			trial.Captures(world, drawn.Probe, drawn.Hand, trial.RunOptions{Number: 2*i + 2, State: survey.StateUnpowered, Stations: all, Repeats: 3, Samples: 40, Started: start.Add(time.Hour), Session: session, ClockS: 900, Seed: uint64(i + 10)}))
	}
	return compare.Compare(context.Background(), w.Craft, runs, runs[1:2], runs[3:4], compare.Options{})
})
