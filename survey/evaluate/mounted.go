package evaluate

import (
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/heading"
	"quietmount/survey"
)

// Mounting returns how the module is mounted and where it is used: the builder's
// limits of lean and slip, and H with its uncertainty.
func (f *Findings) Mounting() heading.Mounting {
	return heading.Mounting{
		HUT: f.HUT, HSDUT: f.HSDUT(),
		TiltDeg: f.Craft.Limits.TiltDeg, SlipMM: f.Craft.Limits.SlipMM,
	}
}

// Mounted computes what a module suffers at places of a map, as mounted: the one
// home of heading errors between the stations. It must not be used by two
// goroutines at once.
type Mounted struct {
	Worst
	heading.Mounting
	f       *Findings
	loads   []Field // as Worst.Names
	surface *survey.Surface
	sampler *heading.Sampler
	paths   [][]r3.Vec  // conductors and magnets, described and fitted
	warms   [][]warming // of each load, the magnets that warm with it
}

// NewMounted prepares for the loads of the map, in the order of the craft file.
func (f *Findings) NewMounted() *Mounted {
	m := &Mounted{Mounting: f.Mounting(), f: f, surface: f.Craft.Surface(), paths: f.conductors()}
	loads := map[string]Field{}
	if f.Map != nil {
		loads = f.Map.Loads
	}
	m.Worst = NewWorst(f.Craft, loads)
	for _, n := range m.Names {
		m.loads = append(m.loads, loads[n])
		m.warms = append(m.warms, f.warmedBy(n))
	}
	m.sampler = heading.NewSampler(max(1, len(m.loads)))
	return m
}

// As returns the same for another mounting: exact, or level.
func (m *Mounted) As(mounting heading.Mounting) *Mounted {
	out := *m
	out.Mounting = mounting
	return &out
}

// FieldOf returns the map of a part, PartSteady or a load's name; nil if it has
// none.
func (f *Findings) FieldOf(part string) Field {
	switch {
	case f.Map == nil:
		return nil
	case part == PartSteady:
		return f.Map.Steady
	}
	return f.Map.Loads[part]
}

// conductors returns the places of sources, each as a path: the leads and magnets of
// the craft file, and the fitted sources.
func (f *Findings) conductors() [][]r3.Vec {
	var out [][]r3.Vec
	add := func(path []r3.Vec) {
		if len(path) > 0 {
			out = append(out, path)
		}
	}
	for _, p := range f.Craft.Parts {
		add(p.PathMM)
		add(p.ReturnPathMM)
		if p.Magnetic && p.AtMM != nil {
			add([]r3.Vec{*p.AtMM})
		}
	}
	if f.Map == nil {
		return out
	}
	for _, on := range f.Map.SourceModels {
		if on == nil {
			continue
		}
		for _, s := range on.Found.Sources {
			if add(s.PathMM); len(s.PathMM) == 0 {
				add([]r3.Vec{s.AtMM})
			}
		}
	}
	return out
}

// closeSlips is the distance to a source, in slips of the hand, under which the
// field is looked up at every place of the slip: farther off it changes evenly.
const closeSlips = 5

// Loads returns for each place of the sensor (craft frame, mm) what each load does
// there, in the order of Names.
func (m *Mounted) Loads(points []r3.Vec) [][]heading.Load {
	out := make([][]heading.Load, len(points))
	for i := range out {
		out[i] = make([]heading.Load, len(m.loads))
	}
	for l, f := range m.loads {
		for i, load := range m.of(f, points) {
			out[i][l] = warmed(load, m.warms[l], points[i])
		}
	}
	return out
}

// Part returns what a part, PartSteady or a load's name, does at each place of the
// sensor. The map must have it.
func (m *Mounted) Part(part string, points []r3.Vec) []heading.Load {
	return m.of(m.f.FieldOf(part), points)
}

func (m *Mounted) of(f Field, points []r3.Vec) []heading.Load {
	mean, cov := fieldmap.Predict(f, points)
	out := make([]heading.Load, len(points))
	for i, s := range m.slips(f, points) {
		out[i] = heading.Load{Mean: mean[i], Cov: cov[i], Slip: s}
	}
	return out
}

// Joint returns the joint posterior of load l, by its index in Names, at places of the
// sensor: means and a covariance of three rows a place, nil for no places. A loss by
// warming is common to all of them.
func (m *Mounted) Joint(l int, points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	mean, cov := fieldmap.Joint(m.loads[l], points)
	for _, w := range m.warms[l] {
		field := make([]r3.Vec, len(points))
		sd := 0.0
		for i, p := range points {
			var part float64
			field[i], part, sd = w.lost(p)
			mean[i] = r3.Add(mean[i], r3.Scale(part, field[i]))
		}
		if cov != nil {
			addScaled(cov, field, sd)
		}
	}
	return mean, cov
}

// Means returns Loads without covariances, at a small part of its cost.
func (m *Mounted) Means(points []r3.Vec) [][]heading.Load {
	out := m.ExactMeans(points)
	m.Slide(out, points)
	return out
}

// ExactMeans returns Means without what a slip of the hand changes.
func (m *Mounted) ExactMeans(points []r3.Vec) [][]heading.Load {
	out := make([][]heading.Load, len(points))
	for i := range out {
		out[i] = make([]heading.Load, len(m.loads))
	}
	for l, f := range m.loads {
		for i, b := range fieldmap.Means(f, points) {
			out[i][l] = warmed(heading.Load{Mean: b}, m.warms[l], points[i])
		}
	}
	return out
}

// Slide adds to the loads of ExactMeans at the points what a slip of the hand
// changes.
func (m *Mounted) Slide(on [][]heading.Load, points []r3.Vec) {
	for l, f := range m.loads {
		for i, s := range m.slips(f, points) {
			on[i][l].Slip = s
		}
	}
}

// Ceiling returns covariances of load l, by its index in Names, that are nowhere
// smaller than those that Loads returns. mean holds its means at the points, those of
// ExactMeans.
func (m *Mounted) Ceiling(l int, points, mean []r3.Vec) []magmath.Mat3 {
	heat, cold := make([]heading.Load, len(points)), make([]r3.Vec, len(points))
	for i, p := range points {
		heat[i] = warmed(heading.Load{}, m.warms[l], p)
		cold[i] = r3.Sub(mean[i], heat[i].Mean)
	}
	cov := fieldmap.Ceiling(m.loads[l], points, cold)
	for i := range cov {
		cov[i] = cov[i].Add(heat[i].Cov)
	}
	return cov
}

// slips returns by how much the mean of a field differs at each slip of the hand
// from each place: by its gradient along the surface, exactly near a source. Nil
// without slip.
func (m *Mounted) slips(f Field, points []r3.Vec) [][]r3.Vec {
	out := make([][]r3.Vec, len(points))
	if !(m.SlipMM > 0) {
		return out
	}
	places := heading.Slips(m.SlipMM)
	var around []r3.Vec
	var first []int // of each point, its first place in around
	for _, p := range points {
		first = append(first, len(around))
		if m.nearSource(p, closeSlips*m.SlipMM) {
			around = append(around, p)
			for _, s := range places {
				around = append(around, m.slid(p, s))
			}
			continue
		}
		for _, s := range []r2.Vec{{X: m.SlipMM}, {X: -m.SlipMM}, {Y: m.SlipMM}, {Y: -m.SlipMM}} {
			around = append(around, m.slid(p, s))
		}
	}
	b := fieldmap.Means(f, around)
	first = append(first, len(around))
	for i := range points {
		at := b[first[i]:first[i+1]]
		out[i] = make([]r3.Vec, len(places))
		if len(at) == 1+len(places) {
			for k := range places {
				out[i][k] = r3.Sub(at[1+k], at[0])
			}
			continue
		}
		x, y := r3.Scale(0.5/m.SlipMM, r3.Sub(at[0], at[1])), r3.Scale(0.5/m.SlipMM, r3.Sub(at[2], at[3]))
		for k, s := range places {
			out[i][k] = r3.Add(r3.Scale(s.X, x), r3.Scale(s.Y, y))
		}
	}
	return out
}

// slid returns where the sensor at p is after a slip of its foot over the surface.
func (m *Mounted) slid(p r3.Vec, slip r2.Vec) r3.Vec {
	q := r3.Add(p, r3.Vec{X: slip.X, Y: slip.Y})
	if len(m.f.Craft.Body.SurfacePoints) > 0 {
		o := m.f.Craft.Module.SensorOffsetMM
		q.Z += m.surface.Z(q.X-o.X, q.Y-o.Y) - m.surface.Z(p.X-o.X, p.Y-o.Y)
	}
	return q
}

func (m *Mounted) nearSource(p r3.Vec, mm float64) bool {
	for _, path := range m.paths {
		if distanceTo(path, p) < mm {
			return true
		}
	}
	return false
}

// distanceTo returns the distance of p from a path of at least one point.
func distanceTo(path []r3.Vec, p r3.Vec) float64 {
	least := r3.Norm(r3.Sub(p, path[0]))
	for i := 1; i < len(path); i++ {
		least = min(least, SegmentDistance(path[i-1], path[i], p))
	}
	return least
}

// SegmentDistance returns the distance of p from the segment from a to b.
func SegmentDistance(a, b, p r3.Vec) float64 {
	d := r3.Sub(b, a)
	t := 0.0
	if n := r3.Norm2(d); n > 0 {
		t = min(1, max(0, r3.Dot(r3.Sub(p, a), d)/n))
	}
	return r3.Norm(r3.Sub(p, r3.Add(a, r3.Scale(t, d))))
}

// Error returns the heading error of the worst combination of the loads at a place,
// degrees, and that combination.
func (m *Mounted) Error(on []heading.Load) (heading.Error, []int) {
	return m.ErrorOf(on, m.Worst)
}

// ErrorOf is Error for other loads than those of the map: those measured at one
// place.
func (m *Mounted) ErrorOf(on []heading.Load, w Worst) (heading.Error, []int) {
	return m.sampler.WorstPosterior(on, w.Combos, m.Mounting)
}

// Expected returns what places are ordered by, degrees: see
// heading.Sampler.Expected.
func (m *Mounted) Expected(on []heading.Load) float64 {
	return m.sampler.Expected(on, m.Combos, m.Mounting)
}

// OfMean returns the error that the means alone have at a place as mounted, degrees.
func (m *Mounted) OfMean(on []heading.Load) float64 { return m.AtPlace(on, m.Combos) }

// OfFields is OfMean for many means that the loads may have at a place: those given.
func (m *Mounted) OfFields(on []heading.Load) func(means []r3.Vec) float64 {
	return m.Slipped(on, m.Combos).Error
}

// SteadyError returns the heading error of one field at a place, such as the steady
// part, and the posterior of its length, microtesla.
func (m *Mounted) SteadyError(steady heading.Load) (heading.Error, heading.Quantiles) {
	return m.sampler.Posterior(steady, m.Mounting), m.sampler.Magnitude(steady.Mean, steady.Cov)
}

// Sum returns mean and covariance of the field of a combination.
func Sum(on []heading.Load, combo []int) Estimate {
	var sum Estimate
	for _, l := range combo {
		sign := 1.0
		if l < 0 {
			sign = -1
		}
		load := on[heading.Loaded(l)]
		sum.Mean, sum.Cov = r3.Add(sum.Mean, r3.Scale(sign, load.Mean)), sum.Cov.Add(load.Cov)
	}
	return sum
}

// SlipOf returns what the field of a combination changes at place k of
// heading.Slips; zero if the loads have no slip.
func SlipOf(on []heading.Load, combo []int, k int) r3.Vec {
	var sum r3.Vec
	for _, l := range combo {
		slip := on[heading.Loaded(l)].Slip
		switch {
		case len(slip) == 0:
		case l < 0:
			sum = r3.Sub(sum, slip[k])
		default:
			sum = r3.Add(sum, slip[k])
		}
	}
	return sum
}

// At returns what a measured field does at a place: a station's or a proof's, with
// the slip taken from the map's field f there; nil: nothing is known of it.
func (m *Mounted) At(e Estimate, f Field, sensor r3.Vec) heading.Load {
	load := heading.Load{Mean: e.Mean, Cov: e.Cov}
	if f != nil && m.SlipMM > 0 {
		points := []r3.Vec{sensor}
		load.Slip = m.slips(f, points)[0]
	}
	if slices.ContainsFunc(load.Slip, func(s r3.Vec) bool { return !magmath.FiniteVec(s) }) {
		load.Slip = nil
	}
	return load
}
