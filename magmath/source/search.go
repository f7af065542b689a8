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
			if p != nil && s.criterion(p) < s.criterion(next) {
				next = p
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

// oneMore is the best model with one more unnamed dipole, from many starts;
// nil where there is none.
func (s *search) oneMore(q *point) *point {
	var starts []*element
	for _, at := range s.scanner(q).starts(s.nodes, 0.7*s.spacing, startsTried, 6*math.Log(float64(s.size()))) {
		starts = append(starts, dipoleAt("", at, math.Inf(1)))
	}
	return s.best(q, starts)
}

// best is the best model with one of some further sources: each is first
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

// startsOf are models with each of some further sources, climbed a little with
// the others where they are.
func (s *search) startsOf(q *point, starts []*element) []*point {
	var tried []*point
	for _, start := range starts {
		es := make([]*element, 0, len(q.es)+1)
		for _, e := range q.es {
			c := e.clone()
			c.fixed = true
			es = append(es, c)
		}
		if p := s.climb(s.at(append(es, start)), firstSteps); !math.IsInf(p.cost, 1) {
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
		if q.es[i].name != "" {
			continue
		}
		less := slices.Delete(slices.Clone(q.es), i, i+1)
		if p := s.climb(s.at(less), allSteps); s.criterion(p) < s.criterion(q) {
			q, i = p, -1
		}
	}
	return q
}
