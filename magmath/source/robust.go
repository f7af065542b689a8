package source

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"
)

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

// off is how many standard deviations of its own reading i is off.
func (s *search) off(q *point, i int) float64 {
	b := s.data.B[i]
	for k, e := range q.es {
		x := q.strengthsOf(k)
		for j, u := range e.columns(e.coords, s.data.At[i]) {
			b = r3.Sub(b, r3.Scale(x[j], u))
		}
	}
	return r3.Norm(s.blockRoot(i).Apply(b)) / s.w.root[i] / math.Sqrt(3)
}
