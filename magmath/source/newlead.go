package source

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

// Unnamed leads: how far their conductors may lie apart, the gap they start
// with, how many ends are tried and how deep, in spacings.
const (
	freeGapMM  = 15.0
	startGapMM = 5.0
	mostEnds   = 60
	leadStarts = 6
	mostPoints = 4
)

var leadDepths = []float64{0.5, 1}

// oneLead returns the best model with one more unnamed lead: straight, and with one
// corner where the readings call for it. nil where there is none.
func (s *search) oneLead(q *point) *point {
	var starts []*element
	if s.pairs == nil {
		s.pairs = s.straightPairs()
	}
	for _, l := range s.scanner(q).leadStarts(s.pairs, s.spacing, 8*math.Log(float64(s.size()))) {
		e := leadAlong("", l.path, math.Inf(1), s.o.CurrentA, freeGapMM)
		n := len(e.coords)
		size := math.Hypot(l.pair[0], l.pair[1])
		if !(size > 0) {
			continue
		}
		gap := min(2*freeGapMM, max(0.5, size/e.current))
		e.coords[n-2], e.coords[n-1] = gap*l.pair[0]/size, gap*l.pair[1]/size
		starts = append(starts, e)
	}
	var tried []*point
	for _, p := range s.startsOf(q, starts) {
		tried = append(tried, p, s.climb(s.bent(p), firstSteps))
	}
	slices.SortStableFunc(tried, func(a, b *point) int { return cmp.Compare(s.criterion(a), s.criterion(b)) })
	var best *point
	for _, p := range tried[:min(startsFinished, len(tried))] {
		if f := s.bend(s.climb(s.at(freed(p.es)), allSteps)); best == nil || s.criterion(f) < s.criterion(best) {
			best = f
		}
	}
	return best
}

// bend gives the last element of a model, a lead, corners while the criterion
// asks for them, two at most.
func (s *search) bend(q *point) *point {
	for q.es[len(q.es)-1].points < mostPoints {
		p := s.climb(s.bent(q), allSteps)
		if !(s.criterion(p) < s.criterion(q)) {
			return q
		}
		q = p
	}
	return q
}

// bent returns a model whose last element, a lead, has a further point in the
// middle of its longest piece.
func (s *search) bent(q *point) *point {
	last := q.es[len(q.es)-1]
	path := pointsOf(last.coords, last.points)
	longest := 1
	for i := range path {
		if i > 0 && r3.Norm(r3.Sub(path[i], path[i-1])) > r3.Norm(r3.Sub(path[longest], path[longest-1])) {
			longest = i
		}
	}
	more := slices.Insert(slices.Clone(path), longest, r3.Scale(0.5, r3.Add(path[longest-1], path[longest])))
	e := leadAlong("", more, math.Inf(1), last.current, freeGapMM)
	copy(e.coords[3*len(more):], last.coords[3*len(path):])
	return s.at(append(slices.Clone(q.es[:len(q.es)-1]), e))
}

// ends returns the places between which a lead is tried.
func (s *search) ends() [][]r3.Vec {
	low, high := extent(s.data.At)
	step := s.spacing
	for (math.Floor((high.X-low.X)/step)+1)*(math.Floor((high.Y-low.Y)/step)+1) > mostEnds {
		step *= 1.1
	}
	var out [][]r3.Vec
	for _, d := range leadDepths {
		var level []r3.Vec
		for y := low.Y; y <= high.Y+1e-9; y += step {
			for x := low.X; x <= high.X+1e-9; x += step {
				level = append(level, r3.Vec{X: x, Y: y, Z: high.Z + d*s.spacing})
			}
		}
		out = append(out, level)
	}
	return out
}

// leadStart is a path with its thin pair's current times gap.
type leadStart struct {
	path []r3.Vec
	pair [2]float64
	gain float64
}

// straightPair is a straight pair of conductors with its fields at the readings,
// for one ampere and one millimetre of gap in either direction.
type straightPair struct {
	path   []r3.Vec
	fields [2][]r3.Vec
}

// straightPairs returns the straight pairs between any two ends of a level.
func (s *search) straightPairs() []straightPair {
	out := []straightPair{}
	for _, ends := range s.ends() {
		for i, a := range ends {
			for _, b := range ends[:i] {
				if r3.Norm(r3.Sub(a, b)) < 1.5*s.spacing {
					continue
				}
				l := straightPair{path: []r3.Vec{b, a}}
				for k := range l.fields {
					flat := []float64{b.X, b.Y, b.Z, a.X, a.Y, a.Z, 0, 0}
					flat[6+k] = startGapMM
					w := pairAlong(flat)
					for _, p := range s.data.At {
						l.fields[k] = append(l.fields[k], r3.Scale(1/startGapMM, w.field(p)))
					}
				}
				out = append(out, l)
			}
		}
	}
	return out
}

// leadStarts returns the most promising of some straight leads, none with both ends
// near those of a better one; none that cannot be expected to gain what is asked
// for.
func (s *scanner) leadStarts(pairs []straightPair, spacing, asked float64) []leadStart {
	var all []leadStart
	for _, p := range pairs {
		if l := s.leadGain(p); l.gain > promising*asked {
			all = append(all, l)
		}
	}
	slices.SortStableFunc(all, func(a, b leadStart) int { return cmp.Compare(b.gain, a.gain) })
	var out []leadStart
	for _, l := range all {
		if len(out) == leadStarts {
			break
		}
		near := func(p, q r3.Vec) bool { return r3.Norm(r3.Sub(p, q)) < 1.2*spacing }
		if !slices.ContainsFunc(out, func(o leadStart) bool { return near(o.path[0], l.path[0]) && near(o.path[1], l.path[1]) }) {
			out = append(out, l)
		}
	}
	return out
}

// leadGain returns the reduction of the sum of squares by a straight pair.
func (s *scanner) leadGain(p straightPair) leadStart {
	l := leadStart{path: p.path}
	for k, fields := range p.fields {
		for i, b := range fields {
			v := s.white[i].Apply(b)
			s.cols[k][3*i], s.cols[k][3*i+1], s.cols[k][3*i+2] = v.X, v.Y, v.Z
		}
	}
	n, g := s.normal(2)
	a, b, c, u, v := n[0][0], n[0][1], n[1][1], g[0], g[1]
	if det := a*c - b*b; det > 1e-12*a*c {
		l.pair = [2]float64{(c*u - b*v) / det, (a*v - b*u) / det}
		l.gain = l.pair[0]*u + l.pair[1]*v
	}
	return l
}
