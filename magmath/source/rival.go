package source

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// A difference of the criterion up to which models cannot be told apart, and the
// number of models that are kept beside the best.
//
// Source: R. E. Kass, A. E. Raftery, Bayes factors, Journal of the American
// Statistical Association 90 (1995) 773: a difference over 6 is strong evidence.
const (
	openCriterion = 6
	mostRivals    = 2
)

// rival is a model with other unnamed sources that explains the readings as well.
type rival struct {
	whole
	probability float64 // of it rather than the best, from the criterion
}

// open returns the models that the criterion cannot tell from q, best first.
func (s *search) open(q *point) []rival {
	best := s.criterion(q)
	type candidate struct {
		*point
		difference float64
	}
	var all []candidate
	for _, es := range s.rivals {
		if s.ctx.Err() != nil {
			return nil
		}
		p := s.climb(s.at(freed(es)), allSteps)
		d := s.criterion(p) - best
		if math.IsNaN(d) || d > openCriterion || alikeModels(p.es, q.es) || slices.ContainsFunc(all, func(c candidate) bool { return alikeModels(c.es, p.es) }) {
			continue
		}
		all = append(all, candidate{p, max(0, d)})
	}
	slices.SortStableFunc(all, func(a, b candidate) int { return cmp.Compare(a.difference, b.difference) })
	all = all[:min(mostRivals, len(all))]
	sum := 1.0
	for _, c := range all {
		sum += math.Exp(-c.difference / 2)
	}
	var out []rival
	for _, c := range all {
		out = append(out, rival{s.whole(c.point), math.Exp(-c.difference/2) / sum})
	}
	return out
}

// alikeMM is how near the sources of two models are that are the same model.
const alikeMM = 1

// alikeModels reports whether two models have the same sources at the same places.
func alikeModels(a, b []*element) bool {
	if len(a) != len(b) {
		return false
	}
	for _, x := range a {
		if !slices.ContainsFunc(b, func(y *element) bool {
			return x.kind == y.kind && x.name == y.name && len(x.coords) == len(y.coords) && farthest(x.coords, y.coords) < alikeMM
		}) {
			return false
		}
	}
	return true
}

func farthest(a, b []float64) float64 {
	most := 0.0
	for i := range a {
		most = max(most, math.Abs(a[i]-b[i]))
	}
	return most
}

// Rivals returns, for each model with other sources that the criterion cannot tell
// from this one, the probability that it is the right one.
func (f *Found) Rivals() []float64 {
	var out []float64
	for _, r := range f.rivals {
		out = append(out, r.probability)
	}
	return out
}

// RivalLess returns the field at p, microtesla, of rival k less that of the sources
// found; beyond bounds on a source.
func (f *Found) RivalLess(k int, p r3.Vec) r3.Vec {
	d := r3.Sub(f.rivals[k].at(p), f.all.at(p))
	if !magmath.FiniteVec(d) || r3.Norm(d) > magmath.BeyondUT {
		return r3.Vec{X: magmath.BeyondUT}
	}
	return d
}

// at returns the field of a model at p.
func (w whole) at(p r3.Vec) r3.Vec {
	var b r3.Vec
	var unit []r3.Vec
	for k := range w.es {
		unit = w.fields[k](unit[:0], p)
		for i, u := range unit {
			b = r3.Add(b, r3.Scale(w.x[k][i], u))
		}
	}
	return b
}
