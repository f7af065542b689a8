package rank

import (
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/magmath/heading"
	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/evaluate"
)

// score is what a compass at a place would suffer, as mounted.
type score struct {
	Shifting  heading.Error // NaN: no load was measured
	Level     heading.Error // of the shifting part, on a level craft at the exact place; NaN unless everything was scored
	Combo     []int
	Steady    heading.Error // NaN: no vectors were measured
	SteadyUT  heading.Quantiles
	Expected  float64 // of Shifting at the place, NaN: no load
	SteadyOK  bool
	BudgetOK  bool
	cost      float64 // what is ranked by
	uncertain float64 // standard uncertainty of the field that the cost rests on, uT, root mean square over the components
}

// scorer turns places into scores.
type scorer struct {
	ctx     context.Context // of the one answer that it works for; once it has ended scores are unfinished
	f       *evaluate.Findings
	surface *survey.Surface
	m       *evaluate.Mounted
	loads   []evaluate.Field // as m.Names
}

func newScorer(ctx context.Context, f *evaluate.Findings) *scorer {
	s := &scorer{ctx: ctx, f: f, surface: f.Craft.Surface(), m: f.NewMounted()}
	for _, n := range s.m.Names {
		s.loads = append(s.loads, f.Map.Loads[n])
	}
	return s
}

// byShifting reports whether there is a shifting part to rank by.
func (s *scorer) byShifting() bool { return len(s.loads) > 0 }

// at returns the surface under the middle of the foot.
func (s *scorer) at(p r2.Vec) r3.Vec { return r3.Vec{X: p.X, Y: p.Y, Z: s.surface.Z(p.X, p.Y)} }

// sensors returns where the module's sensor would be.
func (s *scorer) sensors(places []siting.Place) []r3.Vec {
	out := make([]r3.Vec, len(places))
	for i, p := range places {
		out[i] = s.f.Craft.Module.SensorAt(s.at(p.At), p.HeightMM)
	}
	return out
}

// of scores all places at once, as far as choosing among them needs: with loads, a
// steady part that is surely under the limits is only bounded, and Steady stays
// undefined.
func (s *scorer) of(places []siting.Place) []score {
	if s.byShifting() {
		return s.scoresAt(s.sensors(places), asNeeded)
	}
	return s.scoresAt(s.sensors(places), everything)
}

// shiftingOf scores places whose steady part is known to keep its limits.
func (s *scorer) shiftingOf(places []siting.Place) []score {
	return s.scoresAt(s.sensors(places), onlyShifting)
}

// full scores one place in every respect.
func (s *scorer) full(p siting.Place) score {
	return s.scoresAt(s.sensors([]siting.Place{p}), everything)[0]
}

// verdict holds whether a place keeps the limits. Without loads there is no budget
// to keep: budgetOK is false.
type verdict struct{ steadyOK, budgetOK bool }

// judge returns the verdicts that the scores of the places give. It computes a score
// only if bounds leave the verdict open.
func (s *scorer) judge(places []siting.Place) []verdict {
	out, open := s.judgeByBounds(places, s.m)
	s.settle(places, out, open, s.m)
	return out
}

// allFit reports whether all places keep the limits, the module set down exactly
// there.
func (s *scorer) allFit(places []siting.Place) bool {
	exact := s.m.As(s.m.Exact())
	out, open := s.judgeByBounds(places, exact)
	for i, v := range out {
		if !s.fits(v) && !slices.Contains(open, i) {
			return false
		}
	}
	s.settle(places, out, open, exact)
	return !slices.ContainsFunc(out, func(v verdict) bool { return !s.fits(v) })
}

// fits reports whether a judged place would qualify.
func (s *scorer) fits(v verdict) bool { return v.steadyOK && (v.budgetOK || !s.byShifting()) }

// judgeByBounds returns the verdicts that follow from bounds, and the indices of
// the places whose verdict is open.
func (s *scorer) judgeByBounds(places []siting.Place, m *evaluate.Mounted) (out []verdict, open []int) {
	points, limit := s.sensors(places), s.f.Craft.Limits.HeadingErrorDeg
	low, high, shift := s.shiftingBounds(points, m)
	least, most := s.steadyBounds(points)
	out = make([]verdict, len(places))
	for i := range out {
		kept := score{SteadyUT: heading.Quantiles{Upper95: most[i]}}
		lost := score{SteadyUT: heading.Quantiles{Upper95: least[i]}}
		out[i] = verdict{s.steadyOK(&kept, shift[i]), s.byShifting() && high[i] <= limit}
		steadyOpen := !out[i].steadyOK && s.steadyOK(&lost, 0)
		budgetOpen := s.byShifting() && !out[i].budgetOK && !(low[i] > limit)
		if steadyOpen || budgetOpen {
			open = append(open, i)
		}
	}
	return out, open
}

// settle computes the open verdicts. A steady part that surely keeps its limits is
// not computed again.
func (s *scorer) settle(places []siting.Place, out []verdict, open []int, m *evaluate.Mounted) {
	var both []int
	for _, i := range open {
		if !out[i].steadyOK {
			both = append(both, i)
		}
	}
	for k, x := range s.of(evaluate.Pick(places, both)) {
		out[both[k]].steadyOK = x.SteadyOK
	}
	if !s.byShifting() {
		return
	}
	points := s.sensors(evaluate.Pick(places, open))
	for k, on := range m.Loads(points) {
		e, _ := m.Error(on)
		out[open[k]].budgetOK = e.Upper95 <= s.f.Craft.Limits.HeadingErrorDeg
	}
}

// shiftingBounds are bounds of the upper bound of the shifting error at each
// point, degrees, and of the length of the loads' mean field, uT. Where low is
// over the budget high is infinite. All are zero without loads.
//
// With h(d) the largest horizontal part of a disturbance d over the leans, which
// is a seminorm, m the means of a combination, z what they are off, normal about
// zero, and s what the slip of the hand adds, spread evenly about zero: h(m + s +
// z) is at least h(m) for (s, z) or for its opposite, so that it reaches h(m) over the
// estimate of H in a quarter of the cases, five times as many as the 0.95 quantile
// asks for; and it is at most h(m) + the largest h(s) + |z|, for all combinations at
// once within the 0.97 quantile of |z|, for which see surely, while H is over its 0.02
// quantile. Beside a source s is not quite even. What its curvature takes from low is
// left out: the places of the hand nearest to the one meant are enough for the
// quantile, and there it is far under what z adds.
func (s *scorer) shiftingBounds(points []r3.Vec, m *evaluate.Mounted) (low, high, shift []float64) {
	low, high, shift = make([]float64, len(points)), make([]float64, len(points)), make([]float64, len(points))
	if !s.byShifting() || s.ctx.Err() != nil {
		return low, high, shift
	}
	budget := s.f.Craft.Limits.HeadingErrorDeg
	all := m.ExactMeans(points)
	horizontal := make([]float64, len(points))
	mean := make([][]r3.Vec, len(s.loads))
	var within []int
	for i, on := range all {
		for _, combo := range m.Combos {
			d := evaluate.Sum(on, combo).Mean
			shift[i] = max(shift[i], r3.Norm(d))
			horizontal[i] = max(horizontal[i], heading.Horizontal(d, m.TiltDeg))
		}
		low[i], _ = heading.Level(r3.Vec{X: horizontal[i]}, m.HUT)
		if high[i] = math.Inf(1); !(low[i] > budget) {
			within = append(within, i)
			for l, load := range on {
				mean[l] = append(mean[l], load.Mean)
			}
		}
	}
	some, variance := evaluate.Pick(points, within), make([]float64, len(within))
	for l := range s.loads {
		for k, c := range m.Ceiling(l, some, mean[l]) {
			variance[k] += largest(c)
		}
	}
	slip := s.slipBounds(evaluate.Pick(all, within), some, m)
	surely := math.Sqrt(distuv.ChiSquared{K: float64(3 * max(1, len(s.loads)))}.Quantile(0.97))
	least := m.HUT - 2.06*m.HSDUT
	for k, i := range within {
		high[i], _ = heading.Level(r3.Vec{X: horizontal[i] + slip[k] + surely*math.Sqrt(variance[k])}, least)
	}
	return low, high, shift
}

// slipBounds returns the largest horizontal part that a slip of the hand adds to any
// combination at each point, uT; on are the loads there.
func (s *scorer) slipBounds(on [][]heading.Load, points []r3.Vec, m *evaluate.Mounted) []float64 {
	out := make([]float64, len(points))
	if !(m.SlipMM > 0) {
		return out
	}
	m.Slide(on, points)
	for i := range out {
		for _, combo := range m.Combos {
			for k := range heading.SlipPlaces {
				out[i] = max(out[i], heading.Horizontal(evaluate.SlipOf(on[i], combo, k), m.TiltDeg))
			}
		}
	}
	return out
}

// largest is at least the largest eigenvalue of a covariance and at most their
// sum: its Frobenius norm, the root of the sum of their squares.
func largest(c magmath.Mat3) float64 {
	sum := 0.0
	for _, row := range c {
		for _, v := range row {
			sum += v * v
		}
	}
	return math.Sqrt(sum)
}

// steadyBounds are bounds of the upper bound of the steady part's length at each
// point, uT; NaN where no steady part was measured.
func (s *scorer) steadyBounds(points []r3.Vec) (least, most []float64) {
	least, most = make([]float64, len(points)), make([]float64, len(points))
	if s.f.Map.Steady == nil {
		for i := range points {
			least[i], most[i] = math.NaN(), math.NaN()
		}
		return least, most
	}
	mean := fieldmap.Means(s.f.Map.Steady, points)
	cov := fieldmap.Ceiling(s.f.Map.Steady, points, mean)
	for i, m := range mean {
		least[i] = r3.Norm(m)
		most[i] = least[i] + surely95*math.Sqrt(max(0, cov[i].Trace()))
	}
	return least, most
}

// part is what scores contain.
type part int

const (
	onlyShifting part = iota // the steady part stays undefined and counts as within its limits
	asNeeded                 // a steady part that is surely under the limits is only bounded
	everything
)

// scoredAtOnce is the number of places between two looks at the context.
const scoredAtOnce = 64

// scoresAt scores places of the sensor.
func (s *scorer) scoresAt(points []r3.Vec, part part) []score {
	out := make([]score, 0, len(points))
	for some := range slices.Chunk(points, scoredAtOnce) {
		if s.ctx.Err() != nil {
			return make([]score, len(points))
		}
		out = append(out, s.scoresOf(some, part)...)
	}
	return out
}

func (s *scorer) scoresOf(points []r3.Vec, part part) []score {
	out := make([]score, len(points))
	var steady []heading.Load
	if s.f.Map.Steady != nil && part != onlyShifting {
		steady = s.m.Part(evaluate.PartSteady, points)
	}
	on := s.m.Loads(points)
	for i := range out {
		o := &out[i]
		o.Shifting, o.Steady, o.Level, o.Expected = undefined(), undefined(), undefined(), math.NaN()
		o.SteadyUT = o.Steady.Quantiles
		if steady != nil {
			s.scoreSteady(o, steady[i], part == everything)
		}
		s.finish(o, on[i], part == everything)
	}
	return out
}

func undefined() heading.Error {
	return heading.Error{Quantiles: heading.Quantiles{Estimate: math.NaN(), Upper95: math.NaN()}}
}

// surely95 times the largest standard deviation is not exceeded by the length
// of a normal vector with more than 5 % probability: the root of the 0.95
// quantile of chi-square with three degrees of freedom, rounded up.
const surely95 = 2.8

func (s *scorer) scoreSteady(o *score, steady heading.Load, full bool) {
	trace := steady.Cov.Trace()
	o.uncertain = math.Sqrt(trace / 3)
	if !full {
		most := r3.Norm(steady.Mean) + surely95*math.Sqrt(max(0, trace))
		o.SteadyUT = heading.Quantiles{Estimate: r3.Norm(steady.Mean), Upper95: most}
		if s.steadyOK(o, 0) {
			return
		}
	}
	o.Steady, o.SteadyUT = s.m.SteadyError(steady)
}

// finish sets what the loads do, the limits and the cost.
func (s *scorer) finish(o *score, on []heading.Load, full bool) {
	var shift r3.Vec
	if s.byShifting() {
		o.Shifting, o.Combo = s.m.Error(on)
		if full {
			o.Level, _ = s.m.As(s.m.Level()).Error(on)
		}
		sum := evaluate.Sum(on, o.Combo)
		shift, o.uncertain = sum.Mean, math.Sqrt(sum.Cov.Trace()/3)
	}
	o.SteadyOK = s.steadyOK(o, r3.Norm(shift))
	if s.byShifting() {
		o.BudgetOK = o.Shifting.Upper95 <= s.f.Craft.Limits.HeadingErrorDeg
		// Where all count as 30 degrees the field decides.
		o.Expected = s.m.Expected(on)
		o.cost = o.Expected + 1e-6*r3.Norm(shift)
		return
	}
	o.cost = o.SteadyUT.Upper95
}

// steadyOK reports whether the steady part stays under the builder's limit and the
// whole field within the module's range, at worst with its magnitude on one axis.
// A steady part that was not measured counts as within its limits.
func (s *scorer) steadyOK(o *score, shiftUT float64) bool {
	if math.IsNaN(o.SteadyUT.Upper95) {
		return true
	}
	if lim := s.f.Craft.Limits.SteadyUT; lim > 0 && o.SteadyUT.Upper95 > lim {
		return false
	}
	r := s.f.Craft.Module.RangeUT
	return !(r > 0) || s.f.Reference.F/1000+o.SteadyUT.Upper95+shiftUT <= r
}
