package source

import (
	"context"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Found is what a search found.
type Found struct {
	Sources []Fitted // those that explain something, named ones first, in the order given
	Nothing []Fitted // named parts that do not
	Alike   []Alike  // pairs of Sources that the readings cannot tell apart

	ChiSquare   float64 // generalised sum of squares of the readings
	Left        float64 // what the sources leave of it
	Freedom     float64 // components less parameters
	Scale       float64 // factor, at least 1, by which covariances were widened because the sources fit worse than the noise
	Unexplained float64 // 0..1 of what is there beyond noise; 0 where nothing is
	Quiet       bool    // the readings are within their noise: there is nothing to explain
	Lone        []int   // readings left out because nothing near them agrees

	all    whole
	rivals []rival
}

// significance is the probability under which a named part must explain
// nothing before it is listed among the sources.
const significance = 0.01

// Find explains readings by the parts named, each tried at its place, and as
// many unnamed dipoles, and leads where asked for, as the readings call for.
// It fails with the errors of magmath.Readings or magmath.ErrSingular, and with
// magmath.ErrNotFinite where the fields of the named parts are too large to be
// fitted. A part right at a reading, where its field has no value, is no error:
// that reading then says nothing of the part. Once ctx has ended the error is
// that of ctx.
//
// Moments enter linearly, places not; a new dipole is started from the best
// places of a grid about the readings, its number chosen by an information
// criterion, readings that contradict all others are widened, and every
// covariance is that of the linearised fit. Named magnets have a normal prior
// about their place. A dipole that one reading alone speaks for is not taken
// for one: that reading is left out and listed in Lone.
func Find(ctx context.Context, d magmath.Readings, magnets []Magnet, leads []NamedLead, o Options) (*Found, error) {
	s, err := newSearch(ctx, d, o)
	if err != nil {
		return nil, err
	}
	var es []*element
	for _, m := range magnets {
		es = append(es, m.element())
	}
	for _, l := range leads {
		if len(l.PathMM) > 1 {
			es = append(es, l.element())
		}
	}
	q := s.at(es)
	if math.IsInf(q.cost, 1) {
		return nil, fmt.Errorf("fields of the named parts: %w", magmath.ErrNotFinite)
	}
	q = s.polish(s.prune(s.grow(s.climb(q, allSteps))))
	f := &Found{}
	telling, q := s.leaveOut(q, f)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	s.describe(telling, q, f)
	f.rivals = s.open(q)
	return f, ctx.Err()
}

// leaveOut returns the model without the parts given that explain nothing, the
// least significant taken out first, and the model with them behind the others:
// what is not significant may still be there.
func (s *search) leaveOut(q *point, f *Found) (telling, all *point) {
	var out []*element
	for {
		all := s.fitted(q)
		worst := -1
		for i, c := range all {
			if c.e.given && !(c.P < significance) && (worst < 0 || c.P > all[worst].P) {
				worst = i
			}
		}
		if worst < 0 || s.ctx.Err() != nil {
			if len(out) == 0 {
				return q, q
			}
			return q, s.climb(s.at(append(slices.Clone(q.es), out...)), allSteps)
		}
		f.Nothing = append(f.Nothing, all[worst])
		out = append(out, q.es[worst])
		q = s.climb(s.at(slices.Delete(slices.Clone(q.es), worst, worst+1)), allSteps)
	}
}

// describe sets what was found by the telling sources; the field and its uncertainty
// are of all of them.
func (s *search) describe(q, all *point, f *Found) {
	f.Sources = s.fitted(q)
	f.ChiSquare, f.Left = dot(s.y, s.y), q.fit
	f.Freedom, f.Scale = s.freedom(q), s.scale(q)
	f.Lone = s.lone
	f.all = s.whole(all)
	s.shares(q, f)
	n := float64(s.size() - 3*len(s.lone))
	f.Quiet = len(f.Sources) == 0 && distuv.ChiSquared{K: n}.Survival(f.ChiSquare) > significance
	if signal := f.ChiSquare - n; !f.Quiet && signal > 0 {
		f.Unexplained = min(1, max(0, f.Left-f.Freedom)/signal)
	}
	f.Alike = s.alike(q)
}
