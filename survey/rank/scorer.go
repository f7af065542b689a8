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

// score is what a compass at a place would suffer.
type score struct {
	Shifting  heading.Error // NaN: no load was measured
	Combo     []int
	Steady    heading.Error // NaN: no vectors were measured
	SteadyUT  heading.Quantiles
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
	worst   evaluate.Worst
	loads   []evaluate.Field // as w.names
	sampler *heading.Sampler
}

func newScorer(ctx context.Context, f *evaluate.Findings) *scorer {
	s := &scorer{ctx: ctx, f: f, surface: f.Craft.Surface(), worst: evaluate.NewWorst(f.Craft, f.Map.Loads)}
	for _, n := range s.worst.Names {
		s.loads = append(s.loads, f.Map.Loads[n])
	}
	s.sampler = heading.NewSampler(max(1, len(s.loads)))
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
	out, open := s.judgeByBounds(places)
	s.settle(places, out, open)
	return out
}

// allFit reports whether all places keep the limits.
func (s *scorer) allFit(places []siting.Place) bool {
	out, open := s.judgeByBounds(places)
	for i, v := range out {
		if !s.fits(v) && !slices.Contains(open, i) {
			return false
		}
	}
	s.settle(places, out, open)
	return !slices.ContainsFunc(out, func(v verdict) bool { return !s.fits(v) })
}

// fits reports whether a judged place would qualify.
func (s *scorer) fits(v verdict) bool { return v.steadyOK && (v.budgetOK || !s.byShifting()) }

// judgeByBounds returns the verdicts that follow from bounds, and the indices of
// the places whose verdict is open.
func (s *scorer) judgeByBounds(places []siting.Place) (out []verdict, open []int) {
	points, limit := s.sensors(places), s.f.Craft.Limits.HeadingErrorDeg
	low, high, shift := s.shiftingBounds(points)
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
func (s *scorer) settle(places []siting.Place, out []verdict, open []int) {
	var shifting, both []int
	for _, i := range open {
		if out[i].steadyOK {
			shifting = append(shifting, i)
		} else {
			both = append(both, i)
		}
	}
	for k, x := range s.shiftingOf(evaluate.Pick(places, shifting)) {
		out[shifting[k]].budgetOK = x.BudgetOK
	}
	for k, x := range s.of(evaluate.Pick(places, both)) {
		out[both[k]] = verdict{x.SteadyOK, x.BudgetOK}
	}
}

// shiftingBounds are bounds of the upper bound of the shifting error at each
// point, degrees, and of the length of the loads' mean field, uT. Where low is
// over the budget high is infinite. All are zero without loads.
//
// With h(d) the largest horizontal part of a disturbance d over the leans, which
// is a seminorm, m the means of a combination and z what they are off, normal
// about zero: h(m + z) is at least h(m) for z or for -z, so that its 0.95
// quantile is at least h(m); and it is at most h(m) + |z|, for all combinations
// at once within the 0.95 quantile of |z|, for which see surely95.
func (s *scorer) shiftingBounds(points []r3.Vec) (low, high, shift []float64) {
	low, high, shift = make([]float64, len(points)), make([]float64, len(points)), make([]float64, len(points))
	lim := s.f.Craft.Limits
	mean := make([][]r3.Vec, len(s.loads))
	for l, f := range s.loads {
		if s.ctx.Err() != nil {
			return low, high, shift
		}
		mean[l] = fieldmap.Means(f, points)
	}
	horizontal := make([]float64, len(points))
	var within []int
	for i := range points {
		for _, combo := range s.worst.Combos {
			var d r3.Vec
			for _, l := range combo {
				d = r3.Add(d, mean[l][i])
			}
			shift[i] = max(shift[i], r3.Norm(d))
			horizontal[i] = max(horizontal[i], heading.Horizontal(d, lim.TiltDeg))
		}
		low[i], _ = heading.Level(r3.Vec{X: horizontal[i]}, s.f.HUT)
		if high[i] = math.Inf(1); !(low[i] > lim.HeadingErrorDeg) {
			within = append(within, i)
		}
	}
	some, variance := evaluate.Pick(points, within), make([]float64, len(within))
	for l, f := range s.loads {
		for k, c := range fieldmap.Ceiling(f, some, evaluate.Pick(mean[l], within)) {
			variance[k] += largest(c)
		}
	}
	surely := math.Sqrt(distuv.ChiSquared{K: float64(3 * max(1, len(s.loads)))}.Quantile(0.95))
	for k, i := range within {
		high[i], _ = heading.Level(r3.Vec{X: horizontal[i] + surely*math.Sqrt(variance[k])}, s.f.HUT)
	}
	return low, high, shift
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
	var steady []r3.Vec
	var steadyCov []magmath.Mat3
	if s.f.Map.Steady != nil && part != onlyShifting {
		steady, steadyCov = fieldmap.Predict(s.f.Map.Steady, points)
	}
	mean, cov := make([][]r3.Vec, len(s.loads)), make([][]magmath.Mat3, len(s.loads))
	for l, f := range s.loads {
		mean[l], cov[l] = fieldmap.Predict(f, points)
	}
	on := make([]heading.Load, len(s.loads))
	for i := range out {
		for l := range on {
			on[l] = heading.Load{Mean: mean[l][i], Cov: cov[l][i]}
		}
		o := &out[i]
		o.Shifting, o.Steady = undefined(), undefined()
		o.SteadyUT = o.Steady.Quantiles
		if s.f.Map.Steady != nil && part != onlyShifting {
			s.scoreSteady(o, steady[i], steadyCov[i], part == everything)
		}
		s.finish(o, on)
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

func (s *scorer) scoreSteady(o *score, mean r3.Vec, cov magmath.Mat3, full bool) {
	o.uncertain = math.Sqrt(cov.Trace() / 3)
	if !full {
		most := r3.Norm(mean) + surely95*math.Sqrt(max(0, cov.Trace()))
		o.SteadyUT = heading.Quantiles{Estimate: r3.Norm(mean), Upper95: most}
		if s.steadyOK(o, 0) {
			return
		}
	}
	if full {
		o.Steady = s.sampler.Posterior(mean, cov, s.f.HUT, s.f.Craft.Limits.TiltDeg)
	}
	o.SteadyUT = s.sampler.Magnitude(mean, cov)
}

// finish sets what the loads do, the limits and the cost.
func (s *scorer) finish(o *score, on []heading.Load) {
	lim := s.f.Craft.Limits
	var shift r3.Vec
	if s.byShifting() {
		o.Shifting, o.Combo = s.sampler.WorstPosterior(on, s.worst.Combos, s.f.HUT, lim.TiltDeg)
		v := 0.0
		for _, k := range o.Combo {
			shift = r3.Add(shift, on[k].Mean)
			v += on[k].Cov.Trace() / 3
		}
		o.uncertain = math.Sqrt(v)
	}
	o.SteadyOK = s.steadyOK(o, r3.Norm(shift))
	if s.byShifting() {
		o.BudgetOK = o.Shifting.Upper95 <= lim.HeadingErrorDeg
		// Where any direction is possible all errors are 180: the field decides.
		o.cost = o.Shifting.Upper95 + 1e-6*r3.Norm(shift)
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
