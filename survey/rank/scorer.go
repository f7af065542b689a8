package rank

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r2"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/heading"
	"quietmount/magmath/siting"
	"quietmount/survey"
	"quietmount/survey/evaluate"
)

// batchField is a Field that predicts many places faster than one by one.
type batchField interface {
	Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3)
}

// jointField is a Field that knows how its uncertainties go together.
type jointField interface {
	Joint(points []r3.Vec) ([]r3.Vec, *mat.SymDense)
}

func Predict(f evaluate.Field, points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	if b, ok := f.(batchField); ok {
		return b.Predict(points)
	}
	mean, cov := make([]r3.Vec, len(points)), make([]magmath.Mat3, len(points))
	for i, p := range points {
		mean[i], cov[i] = f.At(p)
	}
	return mean, cov
}

// Joint is the joint posterior at the points; of independent ones where the
// field cannot say better.
func Joint(f evaluate.Field, points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	if j, ok := f.(jointField); ok {
		return j.Joint(points)
	}
	mean, blocks := Predict(f, points)
	cov := mat.NewSymDense(3*len(points), nil)
	for i, b := range blocks {
		for a := range 3 {
			for c := a; c < 3; c++ {
				cov.SetSym(3*i+a, 3*i+c, b[a][c])
			}
		}
	}
	return mean, cov
}

// score is what a module at a place would suffer.
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
	f       *evaluate.Findings
	surface *survey.Surface
	W       evaluate.Worst
	loads   []evaluate.Field // as w.names
	sampler *heading.Sampler
}

func NewScorer(f *evaluate.Findings) *scorer {
	s := &scorer{f: f, surface: f.Craft.Surface(), W: evaluate.NewWorst(f.Craft, f.Map.Loads)}
	for _, n := range s.W.Names {
		s.loads = append(s.loads, f.Map.Loads[n])
	}
	s.sampler = heading.NewSampler(max(1, len(s.loads)))
	return s
}

// ByShifting reports whether there is a shifting part to rank by.
func (s *scorer) ByShifting() bool { return len(s.loads) > 0 }

// at is the surface under the middle of the foot.
func (s *scorer) at(p r2.Vec) r3.Vec { return r3.Vec{X: p.X, Y: p.Y, Z: s.surface.Z(p.X, p.Y)} }

// sensors are where the module's sensor would be.
func (s *scorer) sensors(places []siting.Place) []r3.Vec {
	out := make([]r3.Vec, len(places))
	for i, p := range places {
		out[i] = s.f.Craft.Module.SensorAt(s.at(p.At), p.HeightMM)
	}
	return out
}

// of scores all places at once, as far as choosing among them asks for: where
// there are loads, a steady part that is surely under the limits is not looked
// at more closely, and steady stays undefined.
func (s *scorer) of(places []siting.Place) []score { return s.scores(places, !s.ByShifting()) }

// Full scores one place in every respect.
func (s *scorer) Full(p siting.Place) score { return s.scores([]siting.Place{p}, true)[0] }

func (s *scorer) scores(places []siting.Place, full bool) []score {
	return s.ScoresAt(s.sensors(places), full)
}

// ScoresAt scores places of the sensor.
func (s *scorer) ScoresAt(points []r3.Vec, full bool) []score {
	out := make([]score, len(points))
	var steady []r3.Vec
	var steadyCov []magmath.Mat3
	if s.f.Map.Steady != nil {
		steady, steadyCov = Predict(s.f.Map.Steady, points)
	}
	mean, cov := make([][]r3.Vec, len(s.loads)), make([][]magmath.Mat3, len(s.loads))
	for l, f := range s.loads {
		mean[l], cov[l] = Predict(f, points)
	}
	on := make([]heading.Load, len(s.loads))
	for i := range out {
		for l := range on {
			on[l] = heading.Load{Mean: mean[l][i], Cov: cov[l][i]}
		}
		o := &out[i]
		o.Shifting, o.Steady = undefined(), undefined()
		o.SteadyUT = o.Steady.Quantiles
		if steady != nil {
			s.scoreSteady(o, steady[i], steadyCov[i], full)
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
	if s.ByShifting() {
		o.Shifting, o.Combo = s.sampler.WorstPosterior(on, s.W.Combos, s.f.HUT, lim.TiltDeg)
		v := 0.0
		for _, k := range o.Combo {
			shift = r3.Add(shift, on[k].Mean)
			v += on[k].Cov.Trace() / 3
		}
		o.uncertain = math.Sqrt(v)
	}
	o.SteadyOK = s.steadyOK(o, r3.Norm(shift))
	if s.ByShifting() {
		o.BudgetOK = o.Shifting.Upper95 <= lim.HeadingErrorDeg
		// Where any direction is possible all errors are 180: the field decides.
		o.cost = o.Shifting.Upper95 + 1e-6*r3.Norm(shift)
		return
	}
	o.cost = o.SteadyUT.Upper95
}

// steadyOK reports whether the steady part stays under the builder's limit
// and the whole field in the module's range (its magnitude on one axis at
// worst). A steady part that was not measured is not held against a place.
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
