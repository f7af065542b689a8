package rank

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/sim/builtcraft"
)

// truth is what is really there of one craft, by brute force: nothing of it is
// computed by what it judges.
type truth struct {
	craft  *survey.Craft
	load   func(name string, p r3.Vec) r3.Vec // at full current or a mover's other end, uT
	steady func(p r3.Vec) r3.Vec              // uT
	hUT    float64                            // horizontal field where the compass is used
	sets   [][]float64                        // every way the loads can be on: a factor for each load
}

// allSets returns every way that the loads of a craft can be on: 1 for a load that is
// on, -1 for one whose current flows backwards, 0 for one that is off.
func allSets(c *survey.Craft) [][]float64 {
	var out [][]float64
	for _, names := range c.Combinations() {
		sets := [][]float64{make([]float64, len(c.Loads))}
		for k, l := range c.Loads {
			if !slices.Contains(names, l.Name) {
				continue
			}
			for _, s := range sets {
				on := slices.Clone(s)
				on[k] = 1
				sets = append(sets, on)
				if l.Reverses {
					back := slices.Clone(s)
					back[k] = -1
					sets = append(sets, back)
				}
			}
		}
		out = append(out, sets[1:]...)
	}
	return out
}

// sensor returns where the sensor is when the hand slips by off.
func (t *truth) sensor(p siting.Place, off r2.Vec) r3.Vec {
	at := r2.Add(p.At, off)
	return t.craft.Module.SensorAt(r3.Vec{X: at.X, Y: at.Y, Z: t.craft.SurfaceZ(at.X, at.Y)}, p.HeightMM)
}

// error returns the heading error, degrees, of the shifting part at a place of the
// sensor: worst over headings, leans and the ways that loads are on.
func (t *truth) error(p r3.Vec) float64 {
	fields := make([]r3.Vec, len(t.craft.Loads))
	for k, l := range t.craft.Loads {
		fields[k] = t.load(l.Name, p)
	}
	worst := 0.0
	for _, set := range t.sets {
		var d r3.Vec
		for k, factor := range set {
			d = r3.Add(d, r3.Scale(factor, fields[k]))
		}
		worst = max(worst, builtcraft.WorstError(d, t.hUT, t.craft.Limits.TiltDeg))
	}
	return worst
}

// slip draws a slip of the hand.
func (t *truth) slip(rng *rand.Rand) r2.Vec {
	away, angle := t.craft.Limits.SlipMM*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
	return r2.Vec{X: away * math.Cos(angle), Y: away * math.Sin(angle)}
}

// The numbers of slips behind a T: while places are compared, and of what is reported.
const (
	searchSlips = 60
	finalSlips  = 200
)

// asMounted returns T of a place, degrees: the 0.95 quantile of the error over slips
// uniform in the disc, of which n stand for all. It returns +Inf as soon as T is
// known to be over most.
func (t *truth) asMounted(p siting.Place, n int, most float64) float64 {
	at := 0.95*float64(n) - 0.5
	low := int(at)
	errs, over := make([]float64, n), 0
	for i := range errs {
		away := t.craft.Limits.SlipMM * math.Sqrt((float64(n-i)-0.5)/float64(n)) // the worst are mostly outside
		angle := float64(i) * math.Pi * (3 - math.Sqrt(5))
		errs[i] = t.error(t.sensor(p, r2.Vec{X: away * math.Cos(angle), Y: away * math.Sin(angle)}))
		if errs[i] > most {
			if over++; over >= n-low {
				return math.Inf(1)
			}
		}
	}
	slices.Sort(errs)
	return errs[low] + (at-float64(low))*(errs[low+1]-errs[low])
}

// T is asMounted as it is reported.
func (t *truth) T(p siting.Place) float64 { return t.asMounted(p, finalSlips, math.Inf(1)) }

// placeT is a place and its T.
type placeT struct {
	siting.Place
	T float64
}

// The steps of the search for the best place, mm, the number of descents and how far
// apart these begin.
const (
	coarseStepMM = 8
	fineStepMM   = 2
	descents     = 16
	startApartMM = 12
)

// best returns the place with the least T among those that allowed has. The best
// quarter of a grid of 8 mm is looked at with five slips; from the 16 best places that
// lie apart a descent goes down to steps of 2 mm. It reports false if there is none.
func (t *truth) best(allowed func(siting.Place) bool) (placeT, bool) {
	all := t.coarse(allowed)
	if len(all) == 0 {
		return placeT{}, false
	}
	byT := func(a, b placeT) int { return cmp.Compare(a.T, b.T) }
	slices.SortStableFunc(all, byT)
	all = all[:min(len(all), max(len(all)/4, 100))]
	away := 0.8 * t.craft.Limits.SlipMM
	for i, p := range all {
		for _, off := range []r2.Vec{{X: away}, {X: -away}, {Y: away}, {Y: -away}} {
			all[i].T = max(all[i].T, t.error(t.sensor(p.Place, off)))
		}
	}
	slices.SortStableFunc(all, byT)
	best, starts := placeT{T: math.Inf(1)}, []placeT{}
	for _, p := range all {
		near := func(o placeT) bool {
			return o.HeightMM == p.HeightMM && r2.Norm(r2.Sub(o.At, p.At)) < startApartMM
		}
		if len(starts) == descents || p.T > 1.5*best.T+0.2 { // a few mm do not win that much
			break
		}
		if slices.ContainsFunc(starts, near) {
			continue
		}
		starts = append(starts, p)
		p.T = t.asMounted(p.Place, searchSlips, math.Inf(1))
		if p = t.descend(p, allowed); p.T < best.T {
			best = p
		}
	}
	best.T = t.T(best.Place)
	return best, true
}

// coarse returns the allowed places of the grid with their errors at the exact place.
func (t *truth) coarse(allowed func(siting.Place) bool) []placeT {
	var out []placeT
	box := t.craft.Body.OutlineMM.Bounds()
	for _, height := range t.craft.Heights {
		for x := box.Min.X; x <= box.Max.X; x += coarseStepMM {
			for y := box.Min.Y; y <= box.Max.Y; y += coarseStepMM {
				if p := (siting.Place{At: r2.Vec{X: x, Y: y}, HeightMM: height}); allowed(p) {
					out = append(out, placeT{p, t.error(t.sensor(p, r2.Vec{}))})
				}
			}
		}
	}
	return out
}

// descend steps to the best neighbour as long as one is better, first by 4 mm, then by
// 2.
func (t *truth) descend(p placeT, allowed func(siting.Place) bool) placeT {
	seen := map[r2.Vec]bool{p.At: true}
	for step := 2. * fineStepMM; step >= fineStepMM; {
		best := p
		for _, o := range []r2.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {X: 1, Y: 1}, {X: 1, Y: -1}, {X: -1, Y: 1}, {X: -1, Y: -1}} {
			q := siting.Place{At: r2.Add(p.At, r2.Scale(step, o)), HeightMM: p.HeightMM}
			if seen[q.At] || !allowed(q) {
				continue
			}
			seen[q.At] = true
			if T := t.asMounted(q, searchSlips, best.T); T < best.T {
				best = placeT{q, T}
			}
		}
		if best.At == p.At {
			step /= 2
		}
		p = best
	}
	return p
}

func truthOfBuilt(b *builtcraft.Built) *truth {
	return &truth{craft: b.Craft, load: b.Load, steady: b.Steady, hUT: b.HUT, sets: allSets(b.Craft)}
}

// On craft of the second generator the truth is what that says itself.
func TestTruthIsThatOfTheSecondGenerator(t *testing.T) {
	for _, seed := range []uint64{2, 7, 11} {
		b := builtcraft.New(seed, builtcraft.Ordinary)
		own, rng := truthOfBuilt(b), rand.New(rand.NewPCG(seed, 1))
		for _, s := range b.Craft.Stations()[:12] {
			p := siting.Place{At: r2.Vec{X: s.At.X, Y: s.At.Y}}
			off := own.slip(rng)
			if got, want := own.error(own.sensor(p, off)), b.ErrorAsMounted(b.Sensor(r2.Add(p.At, off), 0), b.HUT, b.TiltDeg); math.Abs(got-want) > 1e-9 {
				t.Errorf("seed %d, %s: %v degrees, the generator says %v", seed, s.Name, got, want)
			}
			if got, want := own.T(p), b.T(b.Sensor(p.At, 0)); math.Abs(got-want) > 0.03+0.02*want {
				t.Errorf("seed %d, %s: T %v, the generator says %v", seed, s.Name, got, want)
			}
			T := own.asMounted(p, searchSlips, math.Inf(1))
			if low, high := own.asMounted(p, searchSlips, 0.9*T), own.asMounted(p, searchSlips, 1.1*T); T > 0 && (low < T || high != T) {
				t.Errorf("seed %d, %s: T %v, %v if at most nine tenths matter, %v if eleven", seed, s.Name, T, low, high)
			}
		}
		free := func(p siting.Place) bool { return len(b.Craft.Obstacles(p.At)) == 0 }
		got, ok := own.best(free)
		want, _ := b.Best(func(foot r2.Vec, h float64) bool { return free(siting.Place{At: foot, HeightMM: h}) })
		if !ok || math.Abs(got.T-want.T) > 0.03+0.02*want.T {
			t.Errorf("seed %d: best T %v at %v, the generator says %v at %v", seed, got.T, got.At, want.T, want.Foot)
		}
	}
}
