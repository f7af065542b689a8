package heading

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Load is what one load does at a place: the posterior mean of its disturbance
// in microtesla, craft frame, and its covariance in microtesla squared. Loads
// are independent of one another.
type Load struct {
	Mean r3.Vec
	Cov  magmath.Mat3
	// Slip is by how much the mean differs where the hand slips: at each of
	// Slips(SlipMM). Nil: by nothing.
	Slip []r3.Vec
}

// Sampler computes posteriors of heading errors with one fixed set of points,
// so that equal input gives equal output and near input near output: the order
// of two spots is not decided by chance. Making one takes a millisecond or
// more, using it allocates nothing. It must not be used by two goroutines at
// once.
type Sampler struct {
	slip   []uint8    // of each draw, its place among Slips
	h      []float64  // of each draw, the departure of H in standard deviations
	points [][]r3.Vec // a load's draws
	values []float64  // of each draw
	drawn  [][]r3.Vec // a load's disturbances in each draw
	order  ordered    // of values
	few    []r3.Vec   // of one draw, its loads' disturbances
	sums   []r3.Vec   // of each draw, the disturbance of one combination
	slides sliding
}

// NewSampler returns a sampler for as many loads together; it grows by itself when
// it meets more.
func NewSampler(loads int) *Sampler {
	s := &Sampler{values: make([]float64, draws)}
	s.grow(max(loads, 1))
	return s
}

func (s *Sampler) grow(loads int) {
	if loads <= len(s.points) {
		return
	}
	z := normalPoints(2 + 3*loads)
	s.slip, s.h = make([]uint8, draws), make([]float64, draws)
	for i := range draws {
		s.slip[i] = uint8(min(SlipPlaces-1, SlipPlaces*distuv.UnitNormal.CDF(z.At(i, 0))))
		s.h[i] = z.At(i, 1)
	}
	s.few = make([]r3.Vec, loads)
	for l := len(s.points); l < loads; l++ {
		p := make([]r3.Vec, draws)
		for i := range p {
			p[i] = r3.Vec{X: z.At(i, 3*l+2), Y: z.At(i, 3*l+3), Z: z.At(i, 3*l+4)}
		}
		s.points = append(s.points, p)
		s.drawn = append(s.drawn, make([]r3.Vec, draws))
	}
}

// Posterior returns the heading error of one disturbance as mounted: quantiles,
// over the disturbance, the slip of the hand and H together, of the error that is
// worst over headings and leans (see Worst). A covariance of zero gives the error
// of the mean; negative eigenvalues count as zero. Anything not finite in the
// mean or covariance, or a NaN elsewhere, gives NaN quantiles.
func (s *Sampler) Posterior(load Load, m Mounting) Error {
	e, _ := s.WorstPosterior([]Load{load}, alone, m)
	return e
}

var alone = [][]int{{0}}

// WorstPosterior returns the heading error of the worst of several combinations of
// loads, drawn jointly: of the largest |sum of d_j| effect over the combos in
// each draw. A combo lists the loads that are on together, by their index, ^index
// (negative) where the current is reversed; an index that no load has is a fault
// of the caller and panics. The second result
// is the combo, one of those given and not copied, that is worst for the mean
// disturbances, the first of equals; nil without combos, when the disturbance
// is zero. Special cases are as in Posterior; a load that no combo lists is not
// looked at.
func (s *Sampler) WorstPosterior(loads []Load, combos [][]int, m Mounting) (Error, []int) {
	s.grow(len(loads))
	t := newTilt(m.TiltDeg)
	if !s.drawAll(loads, combos, draws) || math.IsNaN(m.TiltDeg+m.SlipMM+m.HUT+m.HSDUT) {
		return undefined(), WorstCombo(loads, combos, m.TiltDeg)
	}
	if m.SlipMM > 0 {
		s.slide(loads)
	}
	clear(s.values)
	for _, combo := range combos {
		for i, d := range s.sum(combo) {
			s.values[i] = max(s.values[i], t.horizontal(d))
		}
	}
	for i := range s.values {
		s.values[i] /= max(leastH, m.HUT+m.HSDUT*s.h[i])
		if math.IsNaN(s.values[i]) { // of a slip
			return undefined(), WorstCombo(loads, combos, m.TiltDeg)
		}
	}
	q := s.quantiles()
	var e Error
	e.Estimate, e.AnyDirection = errorOf(q.Estimate, 1)
	e.Upper95, _ = errorOf(q.Upper95, 1)
	return e, WorstCombo(loads, combos, m.TiltDeg)
}

// sum returns the disturbance of a combination in each draw; it is not kept.
func (s *Sampler) sum(combo []int) []r3.Vec {
	if len(combo) == 1 && combo[0] >= 0 {
		return s.drawn[combo[0]]
	}
	if s.sums == nil {
		s.sums = make([]r3.Vec, draws)
	}
	clear(s.sums)
	for _, l := range combo {
		own := s.drawn[Loaded(l)]
		if l < 0 {
			for i, d := range own {
				s.sums[i] = r3.Sub(s.sums[i], d)
			}
			continue
		}
		for i, d := range own {
			s.sums[i] = r3.Add(s.sums[i], d)
		}
	}
	return s.sums
}

// leastH keeps the draws of H, microtesla, positive.
const leastH = 1e-6

// slide moves each draw of the loads to where its hand slips.
func (s *Sampler) slide(loads []Load) {
	for l, load := range loads {
		if len(load.Slip) == 0 {
			continue
		}
		for i := range s.drawn[l] {
			s.drawn[l][i] = r3.Add(s.drawn[l][i], load.Slip[s.slip[i]])
		}
	}
}

// mostCountedDeg is the error beyond which a place is not called worse.
const mostCountedDeg = 30

// expectedDraws is the number of draws behind Expected, which averages.
const expectedDraws = 256

// Expected returns the expectation, over the loads' fields, of the error at a
// place as mounted (Mounting.AtPlace), degrees, each counted as 30 at most: what
// places are ordered by. NaN as in Posterior.
func (s *Sampler) Expected(loads []Load, combos [][]int, m Mounting) float64 {
	s.grow(len(loads))
	if !s.drawAll(loads, combos, expectedDraws) || math.IsNaN(m.TiltDeg+m.SlipMM+m.HUT) {
		return math.NaN()
	}
	s.slides.take(newTilt(m.TiltDeg), loads, combos, m.SlipMM)
	s.slides.arrange()
	sum := 0.0
	for i := range expectedDraws {
		for l := range loads {
			s.few[l] = s.drawn[l][i]
		}
		deg, _ := errorOf(s.slides.most(s.few), m.HUT)
		sum += min(deg, mostCountedDeg)
	}
	return sum / expectedDraws
}

// Magnitude returns the posterior of |d| in microtesla.
func (s *Sampler) Magnitude(mean r3.Vec, cov magmath.Mat3) Quantiles {
	if !finite(mean, cov) {
		return undefined().Quantiles
	}
	s.draw(0, Load{Mean: mean, Cov: cov}, draws)
	for i, d := range s.drawn[0] {
		s.values[i] = r3.Norm(d)
	}
	return s.quantiles()
}

// draw fills the first n disturbances of load number l.
func (s *Sampler) draw(l int, load Load, n int) {
	a, m := root(load.Cov), load.Mean
	out := s.drawn[l]
	for i, z := range s.points[l][:n] {
		out[i] = r3.Vec{
			X: m.X + a[0][0]*z.X + a[0][1]*z.Y + a[0][2]*z.Z,
			Y: m.Y + a[1][0]*z.X + a[1][1]*z.Y + a[1][2]*z.Z,
			Z: m.Z + a[2][0]*z.X + a[2][1]*z.Y + a[2][2]*z.Z,
		}
	}
}

// drawAll makes the first n draws of every load that a combo lists and reports
// whether all of them are finite.
func (s *Sampler) drawAll(loads []Load, combos [][]int, n int) bool {
	for l, load := range loads {
		if !listed(combos, l, len(loads)) {
			continue
		}
		if !finite(load.Mean, load.Cov) {
			return false
		}
		s.draw(l, load, n)
	}
	return true
}

// listed reports whether a combo lists load l; it checks every index on its way.
func listed(combos [][]int, l, loads int) bool {
	found := false
	for _, combo := range combos {
		for _, k := range combo {
			if Loaded(k) >= loads {
				panic(fmt.Sprintf("magmath: heading: a combination lists load %d of %d", k, loads))
			}
			found = found || Loaded(k) == l
		}
	}
	return found
}

// WorstCombo returns the combo that is worst for the mean disturbances: the second
// result of Sampler.WorstPosterior, without the draws.
func WorstCombo(loads []Load, combos [][]int, tiltDeg float64) []int {
	t := newTilt(tiltDeg)
	var worst []int
	most := math.Inf(-1)
	for _, combo := range combos {
		var d r3.Vec
		for _, l := range combo {
			d = r3.Add(d, signed(loads[Loaded(l)].Mean, l))
		}
		if b := t.horizontal(d); b > most {
			most, worst = b, combo
		}
	}
	return worst
}

// Loaded returns the index of the load that a combo lists as l: l, or ^l where its
// current is reversed.
func Loaded(l int) int {
	if l < 0 {
		return ^l
	}
	return l
}

// signed returns the field d of a load as a combo lists it.
func signed(d r3.Vec, l int) r3.Vec {
	if l < 0 {
		return r3.Scale(-1, d)
	}
	return d
}

func (s *Sampler) quantiles() Quantiles {
	s.order.of(s.values)
	return Quantiles{Estimate: s.order.quantile(0.5), Upper95: s.order.quantile(0.95)}
}

func finite(mean r3.Vec, cov magmath.Mat3) bool { return magmath.FiniteVec(mean) && cov.Finite() }

func undefined() Error {
	return Error{Quantiles: Quantiles{Estimate: math.NaN(), Upper95: math.NaN()}}
}

// Posterior returns what Sampler.Posterior returns, with a sampler of its own:
// for a call or two.
func Posterior(load Load, m Mounting) Error { return NewSampler(1).Posterior(load, m) }
