package source

import (
	"cmp"
	"context"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Options steer Find; the zero value is sensible.
type Options struct {
	SpacingMM float64 // between the readings; 0: from their places
	Most      int     // unnamed dipoles at most; 0: 6, negative: none
	MostLeads int     // unnamed leads at most
	CurrentA  float64 // in an unnamed lead; 0: 10 A
	// Under says that sources lie under the level DeckZMM (craft frame, z down), where
	// they are not said to lie above it.
	Under   bool
	DeckZMM float64
}

// The search: starts tried for a new dipole, how many of them are finished
// with everything free, and the steps of a climb.
const (
	startsTried    = 8
	startsFinished = 2
	firstSteps     = 12
	allSteps       = 40
	mostDipoles    = 6
)

// search is the work behind Find.
type search struct {
	*problem
	o       Options
	spacing float64
	nodes   []r3.Vec
	pairs   []straightPair // nil: not asked for yet
	lone    []int          // readings that alone speak for something
	rivals  [][]*element   // models that the criterion nearly chose
}

func newSearch(ctx context.Context, d magmath.Readings, o Options) (*search, error) {
	if err := d.Check(); err != nil {
		return nil, err
	}
	p, err := newProblem(ctx, d)
	if err != nil {
		return nil, err
	}
	s := &search{problem: p, o: o, spacing: o.SpacingMM}
	if !(s.spacing > 0) {
		s.spacing = spacingOf(d.At)
	}
	p.box(s.spacing)
	if o.Under {
		p.low.Z = min(p.high.Z, max(p.low.Z, o.DeckZMM))
		p.deck = o.DeckZMM
	}
	s.nodes = p.nodes(s.spacing)
	if s.o.Most == 0 {
		s.o.Most = mostDipoles
	}
	return s, nil
}

// grow adds unnamed sources while the criterion asks for them.
func (s *search) grow(q *point) *point {
	for added, leads := 0, 0; added < s.o.Most || leads < s.o.MostLeads; {
		if s.ctx.Err() != nil {
			return q
		}
		next := q
		better := func(p *point) {
			switch {
			case p == nil:
			case s.criterion(p) < s.criterion(next):
				next = p
			case s.criterion(p) < s.criterion(q)+openCriterion:
				s.rivals = append(s.rivals, p.es)
			}
		}
		if added < s.o.Most && s.room(q, 6) {
			better(s.oneMore(q))
		}
		if leads < s.o.MostLeads && s.room(q, 9) {
			better(s.oneLead(q))
		}
		if next == q {
			return q
		}
		isLead := next.es[len(next.es)-1].kind == KindLead
		if !isLead {
			if lone, alone := s.alone(next); alone {
				if len(s.lone) >= len(s.data.At)/4 {
					return q
				}
				q = s.drop(q, lone)
				continue
			}
		}
		s.rivals = append(s.rivals, q.es)
		q = next
		if isLead {
			leads++
		} else {
			added++
		}
	}
	return q
}

// room reports whether the readings can bear so many parameters more.
func (s *search) room(q *point, more int) bool {
	return s.size()-3*len(s.lone)-int(unnamedParameters(q))-more >= 3
}

// drop leaves a reading out and fits anew.
func (s *search) drop(q *point, lone int) *point {
	s.lone = append(s.lone, lone)
	s.w.root[lone] = outlierRoot
	s.rewhiten()
	return s.climb(s.at(q.es), allSteps)
}

// oneMore returns the best model with one more unnamed dipole, from many starts;
// nil where there is none.
func (s *search) oneMore(q *point) *point {
	var starts []*element
	for _, at := range s.scanner(q).starts(s.nodes, 0.7*s.spacing, startsTried, 6*math.Log(float64(s.size()))) {
		starts = append(starts, dipoleAt("", at, math.Inf(1)))
	}
	return s.best(q, starts)
}

// best returns the best model with one of some further sources: each is first
// fitted alone to what the others leave, then the best few with everything
// free. nil where none fits.
func (s *search) best(q *point, starts []*element) *point {
	tried := s.startsOf(q, starts)
	slices.SortStableFunc(tried, func(a, b *point) int { return cmp.Compare(a.cost, b.cost) })
	var best *point
	for _, p := range tried[:min(startsFinished, len(tried))] {
		if f := s.climb(s.at(freed(p.es)), allSteps); best == nil || f.cost < best.cost {
			best = f
		}
	}
	return best
}

// startsOf returns models with each of some further sources, climbed a little with
// the others where they are.
func (s *search) startsOf(q *point, starts []*element) []*point {
	var tried []*point
	held := make([]*element, len(q.es))
	for i, e := range q.es {
		held[i] = e.clone()
		held[i].fixed = true
	}
	for _, start := range starts {
		if p := s.climb(s.at(append(slices.Clone(held), start)), firstSteps); !math.IsInf(p.cost, 1) {
			tried = append(tried, p)
		}
	}
	return tried
}

func freed(es []*element) []*element {
	out := make([]*element, len(es))
	for i, e := range es {
		out[i] = e.clone()
		out[i].fixed = false
	}
	return out
}

// prune drops unnamed dipoles that later ones have made needless.
func (s *search) prune(q *point) *point {
	for i := 0; i < len(q.es); i++ {
		if q.es[i].given {
			continue
		}
		less := slices.Delete(slices.Clone(q.es), i, i+1)
		if p := s.climb(s.at(less), allSteps); s.criterion(p) < s.criterion(q) {
			q, i = p, -1
		}
	}
	return q
}

// criterion returns the Bayesian information criterion with the readings'
// covariance known up to a factor of one or more: the least unexplained sum of
// squares counts as it is while it is no more than the number of components,
// and as under an estimated variance beyond that, so that noise stated too
// small does not breed sources.
//
// Source: G. Schwarz, Annals of Statistics 6 (1978) 461; for an unknown
// variance n log(RSS/n), e.g. K. P. Burnham, D. R. Anderson, Model Selection
// and Multimodel Inference (2002), section 2.2; from memory.
func (s *search) criterion(q *point) float64 {
	n := float64(s.size())
	v := q.cost
	if v > n {
		v = n * (1 + math.Log(v/n))
	}
	return v + unnamedParameters(q)*math.Log(n)
}

// unnamedParameters counts what the data alone must settle: the named parts
// are in every model alike.
func unnamedParameters(q *point) float64 {
	n := 0
	for _, e := range q.es {
		if !e.given {
			for _, sd := range e.coordsSD {
				if math.IsInf(sd, 1) || sd >= freeGapMM {
					n++
				}
			}
			if e.kind == KindDipole {
				n += e.strengths()
			}
		}
	}
	return float64(n)
}

// scale returns the factor, at least one, by which the residuals say the stated
// covariance is too small.
func (s *search) scale(q *point) float64 {
	return max(1, q.cost/max(1, s.freedom(q)))
}

// freedom returns the number of components less the parameters fitted to them.
func (s *search) freedom(q *point) float64 {
	n := float64(s.size()-3*len(s.lone)) - unnamedParameters(q)
	for _, e := range q.es {
		if e.given {
			n -= float64(e.strengths())
		}
	}
	return n
}

// Where a reading is left out, and how sure the others must then be of a
// dipole: the 0.999 quantile of chi-square with three degrees of freedom.
const (
	outlierRoot  = 1e-3
	corroborated = 16.27
)

// alone finds the reading that speaks most for the last element, and reports
// whether the others do not: a slip of the hand at one station looks like a
// small magnet under it.
func (s *search) alone(q *point) (int, bool) {
	k := len(q.es) - 1
	d := Dipole{AtMM: place(q.es[k].coords), MomentAm2: place(q.strengthsOf(k))}
	top, most := 0, 0.0
	for i, at := range s.data.At {
		if v := r3.Norm2(s.blockRoot(i).Apply(d.Field(at))); v > most {
			top, most = i, v
		}
	}
	kept := s.w.root[top]
	s.w.root[top] = outlierRoot
	s.rewhiten()
	with, without := s.at(q.es), s.at(q.es[:k])
	s.w.root[top] = kept
	s.rewhiten()
	scale := max(1, with.cost/float64(s.size()))
	return top, without.cost-with.cost < corroborated*scale
}

// Robust polish: beyond how many standard deviations (root mean square over
// its components) a reading is widened, and how often.
const (
	farSD  = 2.0
	rounds = 4
)

// polish refits with readings that are far off widened to what they are off:
// weights (farSD/s)^2 as of a heavy-tailed error.
//
// Source: iteratively reweighted least squares, e.g. P. J. Huber, Robust
// Statistics (1981), section 7.8; from memory.
func (s *search) polish(q *point) *point {
	for range rounds {
		q = s.climb(s.at(q.es), allSteps)
		scale := math.Sqrt(s.scale(q))
		changed := false
		for i := range s.data.At {
			if slices.Contains(s.lone, i) {
				continue
			}
			off := s.off(q, i) / scale
			root := 1.0
			if off > farSD {
				root = farSD / off
			}
			changed = changed || math.Abs(root-s.w.root[i]) > 0.02*root
			s.w.root[i] = root
		}
		if !changed {
			break
		}
		s.rewhiten()
	}
	return s.climb(s.at(q.es), allSteps)
}

// off returns how many standard deviations of its own reading i is off.
func (s *search) off(q *point, i int) float64 {
	b := s.data.B[i]
	for k, e := range q.es {
		x := q.strengthsOf(k)
		for j, u := range e.fields()(nil, s.data.At[i]) {
			b = r3.Sub(b, r3.Scale(x[j], u))
		}
	}
	return r3.Norm(s.blockRoot(i).Apply(b)) / s.w.root[i] / math.Sqrt(3)
}
