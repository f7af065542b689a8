package calib

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/remark"
	"quietmount/magmath/simtest"
)

// Marks scattered at random make a stretch in at most one sequence of a hundred.
func TestClustersByChance(t *testing.T) {
	trials := simtest.Trials(2000, 100000)
	rng := testRNG(7001)
	for _, c := range []struct{ n, k int }{{300, 8}, {1200, 60}, {4831, 240}, {600, 200}} {
		alarms := 0
		for range trials {
			at := rng.Perm(c.n)[:c.k]
			slices.Sort(at)
			if len(clusters(at, c.n)) > 0 {
				alarms++
			}
		}
		t.Logf("%d of %d readings: %d alarms in %d", c.k, c.n, alarms, trials)
		if limit := 0.01*float64(trials) + 3*math.Sqrt(0.01*float64(trials)); float64(alarms) > limit {
			t.Errorf("%d of %d readings: %d alarms in %d", c.k, c.n, alarms, trials)
		}
	}
}

// Stretches are found where they were laid, however many.
func TestClustersFound(t *testing.T) {
	rng := testRNG(7002)
	want := [][2]int{{200, 260}, {700, 900}, {1500, 1540}}
	var at []int
	for i := range 2000 {
		inside := slices.ContainsFunc(want, func(s [2]int) bool { return i >= s[0] && i <= s[1] })
		if rng.Float64() < 0.02 || inside && rng.Float64() < 0.7 {
			at = append(at, i)
		}
	}
	got := clusters(at, 2000)
	slices.SortFunc(got, func(a, b [2]int) int { return a[0] - b[0] })
	if len(got) != len(want) {
		t.Fatalf("found %v, want %v", got, want)
	}
	for i, s := range got {
		if d := max(s[0]-want[i][0], want[i][0]-s[0], s[1]-want[i][1], want[i][1]-s[1]); d > 15 {
			t.Errorf("found %v, want %v", s, want[i])
		}
	}
}

// turned is a turn of a minute in the hand, with the spikes of an honest link, the
// pauses of one that stalls, and a foreign magnet that is near for some shares of
// it.
type turned struct {
	scene
	pauses  bool
	foreign float64 // microtesla
	onProbe bool    // the magnet turns with the probe; otherwise it stays in the room
	near    []Span  // shares of the turn
}

func newTurned(rng *rand.Rand) turned {
	t := turned{scene: plainScene()}
	t.n, t.rate = 1500, 25
	t.matrix, t.offset = distorted(rng)
	t.noise, t.lag1 = 0.1+0.5*rng.Float64(), 0.6*rng.Float64()
	t.spikes, t.spikeUT = 0.05*rng.Float64(), 10+90*rng.Float64()
	t.pauses = rng.IntN(2) == 0
	return t
}

func (t turned) readings(rng *rand.Rand) []Sample {
	dirs := tumble(t.n, 7+4*rng.Float64())
	out := t.along(dirs, rng)
	inverse, _ := t.matrix.Inverse() // its determinant is far from zero
	way := r3.Unit(r3.Vec{X: rng.NormFloat64(), Y: rng.NormFloat64(), Z: rng.NormFloat64()})
	angle := math.Pi * rng.Float64() // between the foreign field and the Earth's
	for i, u := range dirs {
		share := float64(i) / float64(t.n)
		if !slices.ContainsFunc(t.near, func(s Span) bool { return share >= s.FromS && share < s.ToS }) {
			continue
		}
		b := way
		if !t.onProbe {
			across := r3.Unit(r3.Cross(u, way))
			b = r3.Add(r3.Scale(math.Cos(angle), u), r3.Scale(math.Sin(angle), across))
		}
		out[i].B = r3.Add(out[i].B, inverse.Apply(r3.Scale(t.foreign, b)))
	}
	if !t.pauses {
		return out
	}
	var kept []Sample
	late, pause := 0.0, 0
	for _, s := range out {
		switch {
		case pause > 0:
			pause--
			continue
		case rng.Float64() < 0.003: // readings are lost, up to two seconds of them
			pause = rng.IntN(50)
		case rng.Float64() < 0.003: // the hand rests or the probe is silent
			late += 4 * rng.Float64()
		}
		s.TS += late
		kept = append(kept, s)
	}
	return kept
}

func toldOfStretch(r Result) bool {
	return remark.Has(r.Refusals, "calib.stretch") || remark.Has(r.Remarks, "calib.stretch")
}

func toldOfChange(r Result) bool {
	return toldOfStretch(r) || remark.Has(r.Refusals, "calib.changed") || remark.Has(r.Remarks, "calib.changed")
}

// Of honest turns with scattered spikes at most one in a hundred is refused or said
// to hold a stretch.
func TestHonestTurnsHoldNoStretch(t *testing.T) {
	t.Parallel()
	trials := simtest.Trials(20, 1000)
	rng := testRNG(7003)
	stretch, refused := 0, 0
	for range trials {
		h := newTurned(rng)
		o := h.options()
		o.TiltDeg = []float64{20, 45, 180}[rng.IntN(3)]
		r := calibrated(t, h.readings(rng), o)
		if toldOfChange(r) {
			stretch++
			t.Logf("noise %.2f memory %.2f spikes %.3f of %.0f uT, pauses %v: accepted %v %v %v", h.noise, h.lag1, h.spikes, h.spikeUT, h.pauses, r.Accepted, r.Refusals, r.Remarks)
		}
		if !r.Accepted {
			refused++
		}
	}
	t.Logf("%d of %d honest turns were said to hold a stretch, %d refused", stretch, trials, refused)
	if limit := 0.01*float64(trials) + 3*math.Sqrt(0.01*float64(trials)); float64(stretch) > limit || float64(refused) > limit {
		t.Errorf("%d of %d honest turns were said to hold a stretch, %d refused", stretch, trials, refused)
	}
}

// A foreign magnet that is near for a part of the turn and bends the calibration by
// a microtesla and a half or more is not accepted without a word.
func TestForeignMagnetIsTold(t *testing.T) {
	t.Parallel()
	fields := []float64{10}
	if simtest.Whole() {
		fields = []float64{1, 2, 5, 10, 20}
	}
	trials := simtest.Trials(1, 40)
	rng := testRNG(7004)
	var b strings.Builder
	b.WriteString("| near for | stretches | field, uT | magnet | told, % | accepted, % | accepted without a word, % | offset off in those, at most, uT |\n|---|---|---|---|---|---|---|---|\n")
	for _, share := range []float64{0.05, 0.10, 0.33} {
		for _, parts := range []int{1, 3} {
			for _, field := range fields {
				for _, onProbe := range []bool{true, false} {
					row := foreignRow(t, rng, trials, share, parts, field, onProbe)
					fmt.Fprintf(&b, "| %.0f %% | %d | %g | %s | %s\n", 100*share, parts, field, map[bool]string{true: "on the probe", false: "in the room"}[onProbe], row)
					if limit := trials / 20; field >= 10 && row.bent > limit {
						t.Errorf("near for %g in %d stretches with %g uT, on the probe %v: %s", share, parts, field, onProbe, row)
					}
				}
			}
		}
	}
	t.Log("\n" + b.String())
}

// foreignTurns is what became of some turns with a foreign magnet.
type foreignTurns struct {
	of, told, accepted, silent, bent int
	worstUT                          float64 // of the offset, accepted without a word
}

func (f foreignTurns) String() string {
	pct := func(n int) float64 { return 100 * float64(n) / float64(f.of) }
	return fmt.Sprintf("%.0f | %.0f | %.0f | %.2f |", pct(f.told), pct(f.accepted), pct(f.silent), f.worstUT)
}

func foreignRow(t *testing.T, rng *rand.Rand, trials int, share float64, parts int, field float64, onProbe bool) foreignTurns {
	row := foreignTurns{of: trials}
	for range trials {
		m := newTurned(rng)
		m.foreign, m.onProbe = field, onProbe
		each := share / float64(parts)
		for k := range parts {
			from := (float64(k) + rng.Float64()*(1-each*float64(parts))) / float64(parts)
			m.near = append(m.near, Span{from, from + each})
		}
		r := calibrated(t, m.readings(rng), m.options())
		said := toldOfChange(r)
		if said {
			row.told++
		}
		if r.Accepted {
			row.accepted++
		}
		if r.Accepted && !said {
			row.silent++
			off := r3.Norm(r3.Sub(r.OffsetUT, m.offset))
			row.worstUT = max(row.worstUT, off)
			if off > 1.5 {
				row.bent++
			}
		}
	}
	return row
}
