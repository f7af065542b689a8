package builtcraft

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// A compass on a craft that heads and leans every way is wrong by WorstError at most,
// and nearly by it.
func TestWorstErrorAgainstHeadingsAndLeans(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for range 30 {
		d := r3.Scale(12*rng.Float64(), r3.Unit(normal3(rng)))
		h, tilt := 13+15*rng.Float64(), float64(rng.IntN(4)*10)
		worst := 0.0
		for lean := 0.0; lean <= tilt; lean += 2 {
			for way := 0.0; way < 360; way += 4 {
				sin, cos := math.Sincos(way * math.Pi / 180)
				world := r3.NewRotation(lean*math.Pi/180, r3.Vec{X: cos, Y: sin}).Rotate(d)
				for heading := 0.0; heading < 360; heading += 2 {
					turned := yawed(world, heading)
					worst = max(worst, math.Abs(math.Atan2(turned.Y, h+turned.X))*180/math.Pi)
				}
			}
		}
		if got := WorstError(d, h, tilt); worst > got+1e-9 || worst < 0.995*got-0.01 {
			t.Errorf("%v in %.1f uT, lean %v: %.4f, by search %.4f", d, h, tilt, got, worst)
		}
	}
	if WorstError(r3.Vec{X: 20}, 20, 0) != CannotPoint || WorstError(r3.Vec{}, 20, 10) != 0 {
		t.Error("the two ends")
	}
}

// Loads that run together add, currents that reverse also subtract, others do not add.
func TestCombinationsOfLoads(t *testing.T) {
	b := New(5, Ordinary)
	x := func(ut float64) shift {
		return shift{full: 1, magnets: []dipole{{r3.Vec{X: 100}, r3.Vec{Y: -ut * 1e6 / dipoleUT}}}} // ut along y at the origin
	}
	b.shifts = map[string]shift{"a": x(3), "b": x(-2)}
	load := func(name string, with ...string) survey.Load {
		return survey.Load{Name: name, Kind: survey.LoadCurrent, TogetherWith: with}
	}
	for _, c := range []struct {
		with     []string
		reverses bool
		want     float64
	}{{nil, false, 3}, {[]string{"b"}, false, 3}, {[]string{"b"}, true, 5}} {
		craft := *b.Craft
		craft.Loads = []survey.Load{load("a", c.with...), load("b")}
		craft.Loads[1].Reverses = c.reverses
		b.Craft = &craft
		want := math.Asin(c.want/20) * 180 / math.Pi
		if got := b.ErrorAsMounted(r3.Vec{}, 20, 0); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v: %v degrees, want %v", c, got, want)
		}
	}
}

// T is the 0.95 quantile over many slips.
func TestTAgainstManySlips(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 8))
	for seed := range uint64(6) {
		b := New(1+seed, Ordinary)
		stations := b.Craft.Stations()
		p := b.Craft.Module.SensorAt(stations[rng.IntN(len(stations))].At, 0)
		errs := make([]float64, 3000)
		for i := range errs {
			errs[i] = b.ErrorAsMounted(b.Slipped(p, rng), b.HUT, b.TiltDeg)
		}
		slices.Sort(errs)
		low, high := errs[int(0.93*3000)], errs[int(0.97*3000)]
		if got := b.T(p); got < low || got > high {
			t.Errorf("seed %d: %.3f, by draws %.3f (0.93) to %.3f (0.97)", b.Seed, got, low, high)
		}
	}
}

// No place of a grid of 2 mm over a small deck is much better than what Best finds.
func TestBestAgainstAWholeGrid(t *testing.T) {
	for seed := range uint64(3) {
		b := New(21+seed, Ordinary)
		stations := b.Craft.Stations()
		middle := stations[len(stations)/2].At
		small := func(foot r2.Vec, h float64) bool {
			return math.Abs(foot.X-middle.X) < 40 && math.Abs(foot.Y-middle.Y) < 40
		}
		got, ok := b.Best(small)
		if !ok {
			t.Fatal("nothing found")
		}
		least := math.Inf(1)
		for x := -38.0; x < 40; x += 2 {
			for y := -38.0; y < 40; y += 2 {
				p := b.Sensor(r2.Vec{X: middle.X + x, Y: middle.Y + y}, 0)
				if b.ErrorAsMounted(p, b.HUT, b.TiltDeg) < least { // never above T by much
					least = min(least, b.T(p))
				}
			}
		}
		if got.T > least+max(0.05, 0.02*least) || got.T < least-max(0.1, 0.05*least) {
			t.Errorf("seed %d: %.3f found, %.3f on the whole grid", b.Seed, got.T, least)
		}
	}
}
