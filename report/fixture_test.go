package report

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/geomag"
	"quietmount/magmath/heading"
	"quietmount/survey"
	"quietmount/survey/findings"
	"quietmount/survey/sim"
)

// bump is an invented field: one smooth hill over an even ground, known better
// near the hill than far off.
type bump struct {
	at     r3.Vec
	peak   float64 // uT
	widthM float64 // mm
	ground float64 // uT
	sd     float64 // uT
	grow   float64 // uT more for each mm from the middle
}

func (b bump) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	d := r3.Norm(r3.Sub(p, b.at))
	v := b.ground
	if b.peak != 0 {
		v += b.peak * math.Exp(-d*d/b.widthM/b.widthM/2)
	}
	sd := b.sd + b.grow*d
	return r3.Vec{X: v}, magmath.Diagonal(sd*sd, sd*sd, sd*sd)
}

func box(length, width float64) survey.Polygon {
	return survey.Polygon{{X: length / 2, Y: -width / 2}, {X: length / 2, Y: width / 2}, {X: -length / 2, Y: width / 2}, {X: -length / 2, Y: -width / 2}}
}

// inventedFindings are findings over a plain board, with a field for each part
// asked for and none else.
func inventedFindings(c *survey.Craft, shifting, steady findings.Field) *findings.Findings {
	f := &findings.Findings{
		Craft: c, Date: "2026-06-01", Basis: findings.BasisVector, HUT: 18.5,
		Reference: geomag.Elements{H: 18500, F: 49000},
		LeftOut:   map[string]findings.LeftOut{"shifting": {RMSEUT: 0.21, Inside95Fraction: 0.94, Stations: 12}},
		Factor:    1.5,
		Map:       &findings.Map{Loads: map[string]findings.Field{}, Kernels: map[string]string{"motor": "an invented hill"}},
		Runs:      []*survey.Run{{File: "runs/0001-background.jsonl", Header: survey.Header{Run: 1, State: "background"}}},
	}
	if shifting != nil {
		c.Loads = []survey.Load{{Name: "motor", Kind: survey.LoadCurrent, MaxCurrentA: 10}}
		f.Map.Loads["motor"] = shifting
		f.Map.Combinations = [][]string{{"motor"}}
	}
	f.Map.Steady = steady
	for _, s := range c.Stations() {
		sensor := c.Module.SensorAt(s.At, 0)
		sf := findings.StationFinding{Station: s, Sensor: sensor, Captures: 1}
		if shifting != nil {
			m, v := shifting.At(sensor)
			sf.Shifting = &findings.Estimate{Mean: m, Cov: v}
			e := heading.Posterior(m, v, f.HUT, 0)
			sf.ShiftingError, sf.Combination = &e, []string{"motor"}
			sf.Loads = map[string]findings.Estimate{"motor": *sf.Shifting}
		}
		if steady != nil {
			m, v := steady.At(sensor)
			sf.Steady = &findings.Estimate{Mean: m, Cov: v}
			e := heading.Posterior(m, v, f.HUT, 0)
			sf.SteadyError = &e
			sf.MagnitudeDifference = new(m.X)
		}
		f.Stations = append(f.Stations, sf)
	}
	return f
}

// board is an invented plain craft with a grid of stations.
func board(length, width, spacing float64) *survey.Craft {
	return &survey.Craft{
		Name: "Board", Body: survey.Body{OutlineMM: box(length, width)}, Heights: []float64{0},
		Module: survey.Module{Name: "puck", SensorHeightMM: 5, FootprintMM: flat(r3.Vec{X: 30, Y: 20})},
		Grid:   &survey.Grid{SpacingMM: spacing},
		Limits: survey.Limits{HeadingErrorDeg: 5, SteadyUT: 100},
	}
}

// sandpiper is a survey of the invented catamaran, simulated once for all
// tests.
var sandpiper = sync.OnceValues(func() (surveyed, error) {
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
	runs := sim.Folder(w, sim.DefaultProbe(), sim.DefaultHand(), sim.FolderOptions{
		Pulsed: true, CurrentPart: 0.7, Stations: some, Seed: 1,
		Started: time.Date(2026, 6, 1, 10, 0, 0, 0, time.UTC),
	})
	for _, r := range runs {
		r.File = fmt.Sprintf("runs/%04d-%s.jsonl", r.Header.Run, strings.ReplaceAll(r.Header.State, " ", "-"))
	}
	f, err := findings.Evaluate(w.Craft, runs, findings.Options{Date: "2026-06-01"})
	if err != nil {
		return surveyed{}, err
	}
	ranking, err := f.Rank(findings.RankOptions{Most: 6})
	return surveyed{f, ranking}, err
})

type surveyed struct {
	found   *findings.Findings
	ranking *findings.Ranking
}

// keep writes a picture as PNG to the folder named in QUIETMOUNT_PICTURES, for
// a person to look at.
func keep(t testing.TB, name string, p *Picture) {
	t.Helper()
	if dir := os.Getenv("QUIETMOUNT_PICTURES"); dir != "" {
		write(t, filepath.Join(dir, name), written(t, p, PNG))
	}
}
