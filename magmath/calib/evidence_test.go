package calib

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/simtest"
)

// The evidence for the stated uncertainties:
//
//	go test ./magmath/calib -run TestEvidence -write -timeout 0
//
// runs 2,000 simulations a line and writes the table of testdata/evidence.md.
// Without the flag fewer simulations guard the same bounds.
var writeEvidence = flag.Bool("write", false, "write the table of the evidence")

type efficiencyCase struct {
	tilt       float64
	parameters int
}

func efficiencyCases() []efficiencyCase {
	return []efficiencyCase{{180, 3}, {180, 9}, {45, 9}, {20, 3}, {10, 4}, {20, 9}}
}

// efficiencyRow is what simulations of one coverage gave.
type efficiencyRow struct {
	efficiencyCase
	spreadOf
	runs int
}

func efficiency(t *testing.T, tilt float64, parameters, runs int) efficiencyRow {
	t.Helper()
	s := plainScene()
	s.tiltDeg, s.offset = tilt, r3.Vec{X: 12, Y: -31, Z: 7}
	return efficiencyRow{efficiencyCase{tilt, parameters}, simulate(t, s, parameters, runs, uint64(parameters), tukey()), runs}
}

// within is true where the bound on every offset is under 1 uT.
func (r efficiencyRow) within() bool { return max(r.bound[0], r.bound[1], r.bound[2]) < 1 }

func (r efficiencyRow) ratio(axis int) float64 { return r.sd[axis] / r.bound[axis] }

// check fails where a ratio is over 1 + slack, or a bias is more than chance.
func (r efficiencyRow) check(t *testing.T, slack float64) {
	t.Helper()
	for k := range 3 {
		if !r.within() {
			return
		}
		if r.ratio(k) > 1+slack {
			t.Errorf("tilt %g, %d parameters, axis %d: standard error %.4f uT, bound %.4f, ratio %.3f", r.tilt, r.parameters, k, r.sd[k], r.bound[k], r.ratio(k))
		}
		if math.Abs(r.mean[k]) > 4*r.sd[k]/math.Sqrt(float64(r.runs))+0.02*r.bound[k] {
			t.Errorf("tilt %g, %d parameters, axis %d: bias %.4f uT, standard error %.4f", r.tilt, r.parameters, k, r.mean[k], r.sd[k])
		}
	}
}

// String is a line of the table.
func (r efficiencyRow) String() string {
	where := fmt.Sprintf("cone of %g degrees", r.tilt)
	if r.tilt > 90 {
		where = "whole sphere"
	}
	return fmt.Sprintf("| %s | %d | %.3f %.3f %.3f | %.3f %.3f %.3f | %+.3f %+.3f %+.3f |", where, r.parameters,
		r.bound[0], r.bound[1], r.bound[2], r.ratio(0), r.ratio(1), r.ratio(2), r.mean[0], r.mean[1], r.mean[2])
}

// coverageCase is a turn whose stated intervals are counted.
type coverageCase struct {
	name   string
	tilt   float64 // 0: a slow tumble over the sphere
	lag1   float64
	n      int
	spikes float64
	scale  ScaleFrom
	all    bool // the probe is distorted as its prior says
}

func coverageCases() []coverageCase {
	return []coverageCase{
		{name: "whole sphere, white", tilt: 180, n: 400, all: true},
		{name: "whole sphere, white, 5 % spikes", tilt: 180, n: 400, spikes: 0.05, all: true},
		{name: "whole sphere, white, probe's scale", tilt: 180, n: 400, scale: FromProbe, all: true},
		{name: "cone of 45 degrees, white", tilt: 45, n: 400, all: true},
		{name: "cone of 20 degrees, white", tilt: 20, n: 400, all: true},
		{name: "slow turn, memory 0.3", lag1: 0.3, n: 1000, all: true},
		{name: "slow turn, memory 0.6", lag1: 0.6, n: 1000, all: true},
		{name: "slow turn, memory 0.8", lag1: 0.8, n: 1000, all: true},
		{name: "slow turn, memory 0.9", lag1: 0.9, n: 1000, all: true},
		{name: "quick turn, memory 0.8", tilt: 180, lag1: 0.8, n: 1000, all: true},
	}
}

// coverageRow counts, over the three offsets, the 95 % intervals that hold.
type coverageRow struct {
	coverageCase
	inside, all int
	accepted    int
	worth       float64 // effective readings over readings
}

func (c coverageCase) count(t *testing.T, runs int, seed uint64) coverageRow {
	rng := testRNG(seed)
	row := coverageRow{coverageCase: c}
	for range runs {
		s := plainScene()
		s.n, s.lag1, s.noise, s.spikes, s.spikeUT = c.n, c.lag1, 0.4, c.spikes, 60
		s.matrix, s.offset = distorted(rng)
		dirs := tumble(c.n, 9)
		if c.tilt > 0 {
			s.tiltDeg = c.tilt
			for i := range dirs {
				dirs[i] = s.direction(rng)
			}
		}
		o := s.options()
		if o.Scale = c.scale; c.scale == FromProbe {
			o.ReferenceUT = 52
		}
		r := calibrated(t, s.along(dirs, rng), o)
		row.add(r, r3.Sub(r.OffsetUT, s.offset))
	}
	row.worth /= float64(runs)
	return row
}

func (row *coverageRow) add(r Result, off r3.Vec) {
	if r.Accepted {
		row.accepted++
	}
	if r.Parameters == 0 {
		return
	}
	row.worth += r.EffectiveSamples / float64(row.n)
	half := r.Interval95UT()
	for _, v := range [3][2]float64{{off.X, half.X}, {off.Y, half.Y}, {off.Z, half.Z}} {
		row.all++
		if math.Abs(v[0]) <= v[1] {
			row.inside++
		}
	}
}

func (row coverageRow) share() float64 { return float64(row.inside) / float64(max(row.all, 1)) }

// error is the standard error of the share; the axes of a run go together.
func (row coverageRow) error() float64 { return math.Sqrt(0.95 * 0.05 * 3 / float64(max(row.all, 1))) }

func (row coverageRow) String() string {
	return fmt.Sprintf("| %s | %d | %.1f (%.1f) | %.2f | %d |", row.name, row.n, 100*row.share(), 100*row.error(), row.worth, row.accepted)
}

// Intervals hold in 92 to 98 of a hundred, memory or not, and standard errors
// are within 5 % of the bound.
func TestEvidence(t *testing.T) {
	t.Parallel()
	runs := simtest.Trials(5, 40)
	if *writeEvidence {
		runs = 2000
	}
	var b strings.Builder
	fmt.Fprintf(&b, "# What the calibration's uncertainties are worth\n\n%d simulations a line; see evidence_test.go. Field 50 uT, dip 60 degrees.\n\n", runs)
	if *writeEvidence {
		fmt.Fprintf(&b, "Standard errors of the offset x, y, z over the Cramer-Rao bound of the directions shown: 300 readings, white noise\nof 0.3 uT on each axis. A ratio has a standard error of %.1f %%.\n\n", 100/math.Sqrt(2*float64(runs)))
		b.WriteString("| turned over | parameters | bound, uT | ratio | bias, uT |\n|---|---|---|---|---|\n")
		for _, c := range efficiencyCases() {
			row := efficiency(t, c.tilt, c.parameters, runs)
			fmt.Fprintln(&b, row)
			row.check(t, 0.05)
		}
		b.WriteString("\n")
	}
	b.WriteString("95 % intervals of the offset that hold: noise of 0.4 uT on each axis with the memory stated (correlation from one\nreading to the next), a probe distorted as its prior says.\n\n")
	b.WriteString("| turn | readings | hold, % (standard error) | worth of a reading | accepted |\n|---|---|---|---|---|\n")
	inside, all := 0, 0
	for i, c := range coverageCases() {
		row := c.count(t, runs, uint64(500+i))
		inside, all = inside+row.inside, all+row.all
		fmt.Fprintln(&b, row)
		if slack := 2 * row.error(); row.share() < 0.92-slack || row.share() > 0.98+slack {
			t.Errorf("%s: %.1f %% of the 95 %% intervals hold", c.name, 100*row.share())
		}
		if row.accepted < runs*9/10 {
			t.Errorf("%s: only %d of %d accepted", c.name, row.accepted, runs)
		}
	}
	if share := float64(inside) / float64(all); share < 0.92 || share > 0.98 {
		t.Errorf("all together %.1f %% hold", 100*share)
	}
	t.Log("\n" + b.String())
	if *writeEvidence {
		if err := os.WriteFile("testdata/evidence.md", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}

// The factor of an interval against the quantiles of Student's distribution as
// printed in every statistical table: 12.706, 2.228 and 1.960.
func TestIntervalFactor(t *testing.T) {
	for _, c := range []struct{ dof, want float64 }{{1, 12.706}, {10, 2.228}, {1e6, 1.960}, {0.3, 12.706}} {
		r := Result{OffsetStandardUT: r3.Vec{X: 1, Y: 2}, DegreesOfFreedom: c.dof}
		if got := r.Interval95UT(); math.Abs(got.X-c.want) > 0.001 || math.Abs(got.Y-2*c.want) > 0.002 || got.Z != 0 {
			t.Errorf("%g degrees of freedom: %.4f, want %.3f times 1, 2, 0", c.dof, got, c.want)
		}
	}
}

// A turn of a first-order process: correlations of a known memory give
// (1 - r)/(1 + r) of the readings (textbook).
func TestMemoryOfAFirstOrderProcess(t *testing.T) {
	for _, lag1 := range []float64{0, 0.5, 0.8} {
		s := plainScene()
		s.n, s.lag1, s.noise = 6000, lag1, 0.4
		r := calibrated(t, s.along(tumble(s.n, 9), testRNG(uint64(10*lag1))), s.options())
		want := (1 - lag1) / (1 + lag1) * float64(s.n)
		// The memory's own standard error: sqrt((1-r^2)/n) in r, 2/(1-r^2) times that in the worth.
		sd := 2 / math.Sqrt((1-lag1*lag1)*float64(s.n))
		if math.Abs(r.EffectiveSamples/want-1) > 3*sd+0.03 {
			t.Errorf("memory %g: worth %.0f readings, want %.0f", lag1, r.EffectiveSamples, want)
		}
	}
}
