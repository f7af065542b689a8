package builtcraft

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
)

// CannotPoint is the error, degrees, where the disturbance is as large as the horizontal
// field: the compass can point anywhere.
const CannotPoint = 180

// WorstError returns the worst heading error, degrees, that the disturbance d, uT, makes
// in the horizontal field hUT, over all headings and all leans up to tiltDeg either way:
// asin(|d| cos(max(0, gamma-tilt))/H), gamma the angle of d above or below the deck. A
// test holds it against a search over headings and leans.
func WorstError(d r3.Vec, hUT, tiltDeg float64) float64 {
	total := r3.Norm(d)
	if total == 0 {
		return 0
	}
	above := math.Asin(min(1, math.Abs(d.Z)/total))
	across := total * math.Cos(max(0, above-tiltDeg*math.Pi/180))
	if across >= hUT {
		return CannotPoint
	}
	return math.Asin(across/hUT) * 180 / math.Pi
}

// ErrorAsMounted returns the true worst heading error, degrees, of the shifting part
// with the sensor at exactly p: over all headings, all leans up to tiltDeg, and all sets
// of loads that can be on together, each off, on, or, if its current flows either way,
// on backwards. With b.HUT and b.TiltDeg it is the error as mounted but for the slip;
// tiltDeg 0 is level.
func (b *Built) ErrorAsMounted(p r3.Vec, hUT, tiltDeg float64) float64 {
	worst := 0.0
	for _, d := range b.shifted(p) {
		worst = max(worst, WorstError(d, hUT, tiltDeg))
	}
	return worst
}

// shifted returns the shifting part at p of every combination of loads.
func (b *Built) shifted(p r3.Vec) []r3.Vec {
	fields, reverses := map[string]r3.Vec{}, map[string]bool{}
	for _, l := range b.Craft.Loads {
		fields[l.Name], reverses[l.Name] = b.Load(l.Name, p), l.Reverses
	}
	var out []r3.Vec
	for _, set := range b.Craft.Combinations() {
		sums := []r3.Vec{{}}
		for _, name := range set {
			for _, s := range sums {
				sums = append(sums, r3.Add(s, fields[name]))
				if reverses[name] {
					sums = append(sums, r3.Sub(s, fields[name]))
				}
			}
		}
		out = append(out, sums...)
	}
	return out
}

// Slipped returns p after a slip drawn from the disc of SlipMM.
func (b *Built) Slipped(p r3.Vec, rng *rand.Rand) r3.Vec {
	away, angle := b.SlipMM*math.Sqrt(rng.Float64()), 2*math.Pi*rng.Float64()
	return r3.Add(p, r3.Vec{X: away * math.Cos(angle), Y: away * math.Sin(angle)})
}

// slipPoints is the number of points, each for an equal part of the disc, over which T
// takes its quantile.
const slipPoints = 60

// T returns the 0.95 quantile, degrees, of ErrorAsMounted with b.HUT and b.TiltDeg over
// a slip uniform in the disc of SlipMM around p.
func (b *Built) T(p r3.Vec) float64 {
	errs := make([]float64, slipPoints)
	for i := range errs {
		away := b.SlipMM * math.Sqrt((float64(i)+0.5)/slipPoints)
		angle := float64(i) * math.Pi * (3 - math.Sqrt(5)) // the golden angle spreads the points evenly
		q := r3.Add(p, r3.Vec{X: away * math.Cos(angle), Y: away * math.Sin(angle)})
		errs[i] = b.ErrorAsMounted(q, b.HUT, b.TiltDeg)
	}
	slices.Sort(errs)
	at := 0.95*slipPoints - 0.5
	low := int(at)
	return errs[low] + (at-float64(low))*(errs[low+1]-errs[low])
}

// Spot is where a module may stand.
type Spot struct {
	Foot     r2.Vec  // the middle of its foot, seen from above, mm
	HeightMM float64 // above the surface
	T        float64 // degrees
}

// The steps of the search.
const (
	coarseMM   = 8
	fineMM     = 2
	descents   = 16 // from the best coarse places
	apartMM    = 12 // between their starts
	coarseSlip = 0.8
)

// Best returns the spot with the least T among those that mountable allows. The best
// quarter of a grid of 8 mm is scored with five slips; from the 16 best places of it
// that lie apart a descent in T goes down to steps of 2 mm. It reports false if nothing
// can be mounted on.
func (b *Built) Best(mountable func(foot r2.Vec, heightMM float64) bool) (Spot, bool) {
	box := b.Craft.Body.OutlineMM.Bounds()
	var all []Spot
	for _, height := range b.Craft.Heights {
		for x := box.Min.X; x <= box.Max.X; x += coarseMM {
			for y := box.Min.Y; y <= box.Max.Y; y += coarseMM {
				if s := (Spot{Foot: r2.Vec{X: x, Y: y}, HeightMM: height}); mountable(s.Foot, height) {
					s.T = b.ErrorAsMounted(b.Sensor(s.Foot, height), b.HUT, b.TiltDeg)
					all = append(all, s)
				}
			}
		}
	}
	if len(all) == 0 {
		return Spot{}, false
	}
	byT := func(s, t Spot) int { return cmp.Compare(s.T, t.T) }
	slices.SortStableFunc(all, byT)
	all = all[:min(len(all), max(len(all)/4, 100))]
	for i, s := range all {
		all[i].T = b.roughT(b.Sensor(s.Foot, s.HeightMM), s.T)
	}
	slices.SortStableFunc(all, byT)
	var starts []Spot
	for _, s := range all {
		near := func(o Spot) bool {
			return o.HeightMM == s.HeightMM && r2.Norm(r2.Sub(o.Foot, s.Foot)) < apartMM
		}
		if len(starts) < descents && !slices.ContainsFunc(starts, near) {
			s.T = b.T(b.Sensor(s.Foot, s.HeightMM))
			starts = append(starts, s)
		}
	}
	slices.SortStableFunc(starts, byT)
	best := starts[0]
	for _, s := range starts {
		if s.T > 1.5*best.T+0.2 {
			break // a few mm do not win that much
		}
		if s = b.descend(s, mountable); s.T < best.T {
			best = s
		}
	}
	return best, true
}

// roughT is the largest error of p, known already, and four places around it.
func (b *Built) roughT(p r3.Vec, worst float64) float64 {
	r := coarseSlip * b.SlipMM
	for _, o := range []r3.Vec{{X: r}, {X: -r}, {Y: r}, {Y: -r}} {
		worst = max(worst, b.ErrorAsMounted(r3.Add(p, o), b.HUT, b.TiltDeg))
	}
	return worst
}

// descend steps to the best neighbour as long as one is better, first by 4 mm, then by
// 2.
func (b *Built) descend(s Spot, mountable func(r2.Vec, float64) bool) Spot {
	seen := map[r2.Vec]bool{s.Foot: true}
	for step := 2. * fineMM; step >= fineMM; {
		best := s
		for _, o := range []r2.Vec{{X: 1}, {X: -1}, {Y: 1}, {Y: -1}, {X: 1, Y: 1}, {X: 1, Y: -1}, {X: -1, Y: 1}, {X: -1, Y: -1}} {
			foot := r2.Add(s.Foot, r2.Scale(step, o))
			if seen[foot] || !mountable(foot, s.HeightMM) {
				continue
			}
			seen[foot] = true
			if t := b.T(b.Sensor(foot, s.HeightMM)); t < best.T {
				best = Spot{foot, s.HeightMM, t}
			}
		}
		if best.Foot == s.Foot {
			step /= 2
		}
		s = best
	}
	return s
}
