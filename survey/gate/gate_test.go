package gate_test

import (
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath/simtest"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
	"quietmount/survey/logbook"
	"quietmount/survey/sim/builtcraft"
)

var write = flag.Bool("write", false, "write testdata/power.md")

// The first seed that nobody looked at while the limits were set.
const firstSeed = 3001

// A fault spoils the runs of a craft.
type fault struct {
	name  string
	large bool
	spoil func(b *builtcraft.Built, runs []*logbook.Run) []*logbook.Run
}

// The faults begin at the twentieth visit of the unpowered run, whose number is 2.
func faults() []fault {
	scaled := func(by float64) func(*builtcraft.Built, []*logbook.Run) []*logbook.Run {
		return func(_ *builtcraft.Built, runs []*logbook.Run) []*logbook.Run {
			return builtcraft.Scaled(runs, 2, 20, by)
		}
	}
	turned := func(deg float64) func(*builtcraft.Built, []*logbook.Run) []*logbook.Run {
		return func(_ *builtcraft.Built, runs []*logbook.Run) []*logbook.Run {
			return builtcraft.Turned(runs, 2, 20, deg)
		}
	}
	mirrored := func(axis int) func(*builtcraft.Built, []*logbook.Run) []*logbook.Run {
		return func(_ *builtcraft.Built, runs []*logbook.Run) []*logbook.Run { return builtcraft.Mirrored(runs, axis) }
	}
	swapped := func(a, b int) func(*builtcraft.Built, []*logbook.Run) []*logbook.Run {
		return func(_ *builtcraft.Built, runs []*logbook.Run) []*logbook.Run { return builtcraft.Swapped(runs, a, b) }
	}
	clipped := func(ut float64) func(*builtcraft.Built, []*logbook.Run) []*logbook.Run {
		return func(_ *builtcraft.Built, runs []*logbook.Run) []*logbook.Run { return builtcraft.Clipped(runs, ut) }
	}
	return []fault{
		{"scale 1.03", false, scaled(1.03)}, {"scale 1.1", false, scaled(1.1)}, {"scale 1.22", true, scaled(1.22)},
		{"turn 3 deg", false, turned(3)}, {"turn 10 deg", false, turned(10)}, {"turn 90 deg", true, turned(90)},
		{"mirrored x", false, mirrored(0)}, {"mirrored y", false, mirrored(1)}, {"mirrored z", false, mirrored(2)},
		{"swapped x, y", false, swapped(0, 1)}, {"swapped x, z", false, swapped(0, 2)}, {"swapped y, z", false, swapped(1, 2)},
		{"clipped at 60 uT", false, clipped(60)}, {"clipped at 40 uT", false, clipped(40)}, {"clipped at 21 uT", true, clipped(21)},
		{"load not measured", true, func(b *builtcraft.Built, runs []*logbook.Run) []*logbook.Run {
			return builtcraft.Unmeasured(runs, b.Craft.Loads[0].Name)
		}},
		{"magnet of 0.05 A m2 near", false, foreign(0.05)}, {"magnet of 0.2 A m2 near", false, foreign(0.2)}, {"magnet of 1 A m2 near", true, foreign(1)},
	}
}

// foreign lies a magnet 100 mm under the station of visit 26 of the unpowered run,
// from visit 20 to 32.
func foreign(momentAm2 float64) func(*builtcraft.Built, []*logbook.Run) []*logbook.Run {
	return func(b *builtcraft.Built, runs []*logbook.Run) []*logbook.Run {
		k := slices.IndexFunc(runs, func(r *logbook.Run) bool { return r.Header.Run == 2 })
		at := r3.Add(runs[k].Captures[25].At, r3.Vec{Z: 100})
		return b.Foreign(runs, 2, 20, 32, at, r3.Vec{X: 0.6 * momentAm2, Z: 0.8 * momentAm2})
	}
}

// failures evaluates runs and returns the codes of the checks that failed.
func failures(t *testing.T, b *builtcraft.Built, runs []*logbook.Run) []gate.Code {
	t.Helper()
	f, err := evaluate.Evaluate(t.Context(), b.Craft, runs, evaluate.Options{})
	if err != nil {
		t.Fatalf("seed %d, %s: %v", b.Seed, b.Kind, err)
	}
	var out []gate.Code
	for _, c := range gate.Open(gate.Checks(t.Context(), f)) {
		out = append(out, c.Code)
	}
	return out
}

// An honest survey fails no check: fewer than one of a hundred does. With few
// surveys the number is held under the binomial limit of that.
func TestHonestSurveysAreTrusted(t *testing.T) {
	n := simtest.Trials(8, 1000)
	wrong := map[string]int{}
	for i := range n {
		b := builtcraft.New(uint64(firstSeed+i), builtcraft.Kinds()[i%4])
		if codes := failures(t, b, b.Surveys()); len(codes) > 0 {
			wrong[string(b.Kind)]++
			t.Logf("seed %d, %s: %v", b.Seed, b.Kind, codes)
		}
	}
	all := 0
	for _, k := range wrong {
		all += k
	}
	t.Logf("%d false alarms in %d honest surveys: %v", all, n, wrong)
	limit := distuv.Binomial{N: float64(n), P: 0.01}
	if 1-limit.CDF(float64(all)-1) < 0.01 {
		t.Errorf("%d false alarms in %d honest surveys, more than one per cent explains", all, n)
	}
}

// Faults of the large size are seen in 95 of a hundred surveys; the table tells the
// smaller ones.
func TestFaultsAreSeen(t *testing.T) {
	n := simtest.Trials(1, 100)
	var table strings.Builder
	fmt.Fprintf(&table, "| fault | surveys | seen | by |\n|---|---|---|---|\n")
	for k, f := range faults() {
		if n < 4 && !f.large {
			continue
		}
		seen, by := 0, map[gate.Code]int{}
		for i := range n {
			b := builtcraft.New(uint64(firstSeed+5000+i), builtcraft.Kinds()[(i+k)%4])
			codes := failures(t, b, f.spoil(b, b.Surveys()))
			if len(codes) > 0 {
				seen++
			}
			for _, c := range codes {
				by[c]++
			}
		}
		var names []string
		for c, m := range by {
			names = append(names, fmt.Sprintf("%s %d", c, m))
		}
		slices.Sort(names)
		fmt.Fprintf(&table, "| %s | %d | %.0f %% | %s |\n", f.name, n, 100*float64(seen)/float64(n), strings.Join(names, ", "))
		limit := distuv.Binomial{N: float64(n), P: 0.95}
		if f.large && limit.CDF(float64(seen)) < 0.01 && !math.IsNaN(limit.P) {
			t.Errorf("%s: seen in %d of %d", f.name, seen, n)
		}
	}
	t.Log("\n" + table.String())
	if *write {
		if err := os.WriteFile(filepath.Join("testdata", "power.md"), []byte(table.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
