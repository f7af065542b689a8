package compare_test

import (
	"flag"
	"fmt"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath/simtest"
	"quietmount/survey"
	"quietmount/survey/compare"
	"quietmount/survey/rank"
	"quietmount/survey/sim/builtcraft"
)

// A piece of the evidence, for several machines.
var (
	firstCraft = flag.Uint64("from", 0, "number of the first craft of every row of TestEvidence, from 0")
	manyCraft  = flag.Int("craft", 0, "number of craft of every row of TestEvidence; 0: few, or all with QUIETMOUNT_EVIDENCE")
)

// The rows of the evidence have seeds of their own, none looked at while designing.
const (
	seedHonest = 110001
	seedMagnet = 111001
	seedLoad   = 112001
)

// again is a built craft surveyed twice, the second time with the bench turned by up to
// 10 degrees, which the runs say in half of the craft; with a magnet of 0.05 A m2 in any
// direction awayMM under the sensor of one of its stations, unless awayMM is 0.
func again(t *testing.T, seed uint64, awayMM float64, states func(*survey.Craft) []string) *compare.Comparison {
	t.Helper()
	b := builtcraft.New(seed, builtcraft.Kinds()[seed%4])
	rng := rand.New(rand.NewPCG(seed, 8))
	change := builtcraft.Change{TurnDeg: 20*rng.Float64() - 10}
	if rng.IntN(2) == 0 {
		change.SaidDeg = change.TurnDeg
	}
	all := b.Craft.Stations()
	if awayMM > 0 {
		change.At = r3.Add(b.Craft.Module.SensorAt(all[rng.IntN(len(all))].At, 0), r3.Vec{Z: awayMM})
		change.MomentAm2 = r3.Scale(0.05, r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()}))
	}
	before := b.Walk(builtcraft.Plan{States: states(b.Craft)})
	after := b.Changed(change).Walk(builtcraft.Plan{
		States: states(b.Craft), Round: 1000, First: len(before) + 1, Day: 7, ClockS: 7 * 86400, TurnDeg: change.TurnDeg, SaidDeg: change.SaidDeg,
	})
	last := len(before) - 1
	spot := rank.Mount{At: all[0].At}
	c, err := compare.Compare(t.Context(), b.Craft, append(before, after...), before[last:], after[last:], compare.Options{Spot: &spot})
	if err != nil {
		t.Fatalf("craft %d: %v", seed, err)
	}
	return c
}

func steadyStates(*survey.Craft) []string {
	return []string{survey.StateBackground, survey.StateUnpowered}
}

func loadStates(c *survey.Craft) []string { return []string{c.Loads[0].Name} }

// Two surveys of a craft as hands build it: an honest one is called changed in at most
// one of twenty, and a magnet is told. testdata/evidence.md has the table.
func TestEvidence(t *testing.T) {
	type row struct {
		name        string
		seed        uint64
		awayMM      float64
		states      func(*survey.Craft) []string
		few, whole  int
		least, most float64 // of the share that is called changed
	}
	rows := []row{
		{"honest", seedHonest, 0, steadyStates, 2, 400, 0, 0.05},
		{"honest, a load", seedLoad, 0, loadStates, 1, 200, 0, 0.05},
	}
	for _, r := range []row{{awayMM: 40, least: 0.9}, {awayMM: 60, least: 0.9}, {awayMM: 80, least: 0.9}, {awayMM: 100}, {awayMM: 150}, {awayMM: 200}} {
		r.name, r.seed, r.states, r.whole, r.most = fmt.Sprintf("magnet at %.0f mm", r.awayMM), seedMagnet, steadyStates, 100, 1
		if r.awayMM == 60 {
			r.few = 1
		}
		rows = append(rows, r)
	}
	for _, r := range rows {
		n := simtest.Trials(r.few, r.whole)
		if *manyCraft > 0 {
			n = *manyCraft
		}
		if n == 0 {
			continue
		}
		t.Run(r.name, func(t *testing.T) {
			changed := 0
			for i := range uint64(n) {
				c := again(t, r.seed+*firstCraft+i, r.awayMM, r.states)
				if c.Result.Changed {
					changed++
				}
				if c.Result.Changed != (r.awayMM > 0) {
					t.Logf("craft %d: changed %v at %v, all together p %.3f", r.seed+*firstCraft+i, c.Result.Changed, c.Named(), c.Result.OverallP)
				}
			}
			t.Logf("called changed: %d of %d", changed, n)
			// Beyond these, chance alone goes once in a thousand.
			if p := (distuv.Binomial{N: float64(n), P: r.most}).Survival(float64(changed) - 1); r.most < 1 && changed > 0 && p < 0.001 {
				t.Errorf("%d of %d called changed, more than a rate of %.2f allows", changed, n, r.most)
			}
			if r.least > 0 && (distuv.Binomial{N: float64(n), P: r.least}).CDF(float64(changed)) < 0.001 {
				t.Errorf("%d of %d called changed, fewer than a rate of %.2f allows", changed, n, r.least)
			}
		})
	}
}
