package fieldmap

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Source is a magnet or lead at a known place, with a field of known shape and
// unknown strength. Fields returns its unit fields at a place (for a magnet
// those of three moments, for a pair of conductors those of two directions of
// the gap); the map adds an unknown multiple of each, normal about zero with a
// common standard deviation that is a hyperparameter. Fields must return the
// same number of vectors everywhere, in a slice that the map may keep, and must
// be safe for concurrent use.
//
// Source: explicit basis functions with a normal prior, Rasmussen and
// Williams (2006), section 2.7.
type Source struct {
	Name   string
	Fields func(p r3.Vec) []r3.Vec
	LogSD  float64 // of a multiple
	Fixed  bool    // LogSD is known: Fit leaves it as it is
}

// largestUT replaces the undefined field on a source, so that predictions there
// have the largest uncertainty.
const largestUT = 1e6

// at returns the unit fields at p, always finite.
func (s Source) at(p r3.Vec) []r3.Vec {
	f := s.Fields(p)
	for i, v := range f {
		if !magmath.FiniteVec(v) || r3.Norm(v) > largestUT {
			f[i] = r3.Vec{X: largestUT}
		}
	}
	return f
}

// features are the unit fields of some sources at all stations.
type features struct {
	sources []Source
	columns [][]*mat.VecDense // of each source, of each of its unit fields
}

func featuresOf(sources []Source, at []r3.Vec) features {
	f := features{sources: sources}
	for _, s := range sources {
		var cols []*mat.VecDense
		for i, p := range at {
			for k, v := range s.at(p) {
				if k == len(cols) {
					cols = append(cols, mat.NewVecDense(3*len(at), nil))
				}
				cols[k].SetVec(3*i, v.X)
				cols[k].SetVec(3*i+1, v.Y)
				cols[k].SetVec(3*i+2, v.Z)
			}
		}
		f.columns = append(f.columns, cols)
	}
	return f
}

// with returns the same features with other standard deviations of those that
// are not fixed.
func (f features) with(logSD []float64) features {
	out := features{columns: f.columns, sources: make([]Source, len(f.sources))}
	for i, s := range f.sources {
		if !s.Fixed {
			s.LogSD, logSD = logSD[0], logSD[1:]
		}
		out.sources[i] = s
	}
	return out
}

// addTo adds the sources' part to the covariance of the stations.
func (f features) addTo(c *mat.SymDense) {
	for i, s := range f.sources {
		for _, col := range f.columns[i] {
			c.SymRankOne(c, math.Exp(2*s.LogSD), col)
		}
	}
}

// slopes returns the derivatives of the negative log likelihood by each LogSD
// that is not fixed.
func (f features) slopes(alpha *mat.VecDense, inv *mat.SymDense, into []float64) {
	k := 0
	for i, s := range f.sources {
		if s.Fixed {
			continue
		}
		for _, col := range f.columns[i] {
			a := mat.Dot(col, alpha)
			into[k] += math.Exp(2*s.LogSD) * (mat.Inner(col, inv, col) - a*a)
		}
		k++
	}
}

// between returns the sources' part of the covariance of p with q, given their
// unit fields there.
func (f features) between(p, q [][]r3.Vec) magmath.Mat3 {
	var m magmath.Mat3
	for i, s := range f.sources {
		v := math.Exp(2 * s.LogSD)
		for k, a := range p[i] {
			b := r3.Scale(v, q[i][k])
			m[0][0] += a.X * b.X
			m[0][1] += a.X * b.Y
			m[0][2] += a.X * b.Z
			m[1][0] += a.Y * b.X
			m[1][1] += a.Y * b.Y
			m[1][2] += a.Y * b.Z
			m[2][0] += a.Z * b.X
			m[2][1] += a.Z * b.Y
			m[2][2] += a.Z * b.Z
		}
	}
	return m
}

func (f features) fields(p r3.Vec) [][]r3.Vec {
	out := make([][]r3.Vec, len(f.sources))
	for i, s := range f.sources {
		out[i] = s.at(p)
	}
	return out
}

// multiples returns the posterior means of the multiples, given alpha.
func (f features) multiples(alpha *mat.VecDense) [][]float64 {
	out := make([][]float64, len(f.sources))
	for i, s := range f.sources {
		for _, col := range f.columns[i] {
			out[i] = append(out[i], math.Exp(2*s.LogSD)*mat.Dot(col, alpha))
		}
	}
	return out
}
