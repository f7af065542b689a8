package fieldmap

import (
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Source is a magnet or lead at a known place, with a field of known shape and
// unknown strength. Fields returns its unit fields at a place (for a magnet
// those of three moments, for a pair of conductors those of two directions of
// the gap); the map adds an unknown multiple of each, normal about zero with a
// common standard deviation that is a hyperparameter. Fields must return the
// same number of vectors everywhere, in a slice that the map may keep and
// change, and must be safe for concurrent use.
//
// Source: explicit basis functions with a normal prior, Rasmussen and
// Williams (2006), section 2.7.
type Source struct {
	Name   string
	Fields func(p r3.Vec) []r3.Vec
	LogSD  float64 // of a multiple
}

// SourceMean is a field, such as that of fitted sources, that is known but for some
// parameters. At returns its value at a place, microtesla, and its derivatives by the
// parameters, each in units of the standard deviation of its prior, which is normal
// about zero. The rules for Source.Fields hold for At too.
//
// Moved makes ready the sum of the value and, for each parameter, its given multiple
// of the derivative, for many places at less cost than At; nil: At is asked for it.
type SourceMean struct {
	Name  string
	At    func(p r3.Vec) (b r3.Vec, fields []r3.Vec)
	Moved func(multiples []float64) func(p r3.Vec) r3.Vec
}

// moved returns Moved, or nil where there is none.
func (s *SourceMean) moved(multiples []float64) func(p r3.Vec) r3.Vec {
	if s == nil || s.Moved == nil {
		return nil
	}
	return s.Moved(multiples)
}

// features are the explicit fields of a map, with their values at its stations:
// one for each parameter of the source mean, then the unit fields of each source.
type features struct {
	sourceMean *SourceMean // nil: none
	sources    []Source
	mean       []r3.Vec  // the source mean at each station
	count      []int     // fields of the source mean, then of each source
	unit       []float64 // field after field, three components a station
}

func featuresOf(sourceMean *SourceMean, sources []Source, at []r3.Vec) features {
	f := features{sourceMean: sourceMean, sources: sources, mean: make([]r3.Vec, len(at)), count: make([]int, 1+len(sources))}
	for i, p := range at {
		var fields []r3.Vec
		f.mean[i], fields = f.at(p, f.count)
		if f.unit == nil {
			f.unit = make([]float64, 3*len(at)*len(fields))
		}
		for k, v := range fields {
			row := f.unit[3*(k*len(at)+i):]
			row[0], row[1], row[2] = v.X, v.Y, v.Z
		}
	}
	return f
}

// at returns the source mean at p and all unit fields there, always finite, and
// writes into count how many there are of each kind; count may be nil.
func (f features) at(p r3.Vec, count []int) (mean r3.Vec, fields []r3.Vec) {
	if f.sourceMean != nil {
		mean, fields = f.sourceMean.At(p)
	}
	if count != nil {
		count[0] = len(fields)
	}
	for i, s := range f.sources {
		own := s.Fields(p)
		if fields = append(fields, own...); count != nil {
			count[1+i] = len(own)
		}
	}
	for i, v := range fields {
		if !magmath.FiniteVec(v) || r3.Norm(v) > magmath.BeyondUT {
			fields[i] = r3.Vec{X: magmath.BeyondUT}
		}
	}
	return mean, fields
}

// sds returns the standard deviation of the multiple of each field.
func (f features) sds() []float64 {
	var out []float64
	for i, n := range f.count {
		sd := 1.0
		if i > 0 {
			sd = math.Exp(f.sources[i-1].LogSD)
		}
		for range n {
			out = append(out, sd)
		}
	}
	return out
}

// with returns the same features under other strengths of the sources.
func (f features) with(logSD []float64) features {
	f.sources = append([]Source(nil), f.sources...)
	for i := range f.sources {
		f.sources[i].LogSD = logSD[i]
	}
	return f
}

// scaled returns the fields at all stations times the standard deviations of their
// multiples: a row a field, three columns a station.
func (f features) scaled() blas64.General {
	cols := 3 * len(f.mean)
	out := blas64.General{Cols: cols, Stride: max(1, cols), Data: append([]float64(nil), f.unit...)}
	for k, sd := range f.sds() {
		blas64.Scal(sd, blas64.Vector{N: cols, Data: out.Data[k*cols:], Inc: 1})
		out.Rows++
	}
	return out
}

// parts returns the features of the source mean alone and of the sources alone.
func (f features) parts() (mean, sources features) {
	mean, sources = f, f
	cut := 3 * len(f.mean) * f.count[0]
	mean.sources, mean.count, mean.unit = nil, f.count[:1], f.unit[:cut]
	sources.sourceMean, sources.count, sources.unit = nil, append([]int{0}, f.count[1:]...), f.unit[cut:]
	return mean, sources
}

// addTo adds the covariance of the features at the stations.
func (f features) addTo(c *mat.SymDense) {
	if s := f.scaled(); s.Rows > 0 {
		blas64.Syrk(blas.Trans, 1, s, 1, c.RawSymmetric())
	}
}

// slopes adds the derivatives of the negative log likelihood by each source's LogSD.
func (f features) slopes(alpha *mat.VecDense, inv *mat.SymDense, into []float64) {
	cols := 3 * len(f.mean)
	k, room := f.count[0], blas64.Vector{N: cols, Data: make([]float64, cols), Inc: 1}
	for i, s := range f.sources {
		for range f.count[1+i] {
			col := blas64.Vector{N: cols, Data: f.unit[k*cols:], Inc: 1}
			blas64.Symv(1, inv.RawSymmetric(), col, 0, room)
			a := blas64.Dot(col, alpha.RawVector())
			into[i] += math.Exp(2*s.LogSD) * (blas64.Dot(col, room) - a*a)
			k++
		}
	}
}

// multiples returns the posterior means of the multiples of all fields, given alpha.
func (f features) multiples(alpha *mat.VecDense) []float64 {
	cols := 3 * len(f.mean)
	var out []float64
	for k, sd := range f.sds() {
		out = append(out, sd*sd*blas64.Dot(blas64.Vector{N: cols, Data: f.unit[k*cols:], Inc: 1}, alpha.RawVector()))
	}
	return out
}

// pick returns the features at some of the stations.
func (f features) pick(stations []int) features {
	out := f
	out.mean, out.unit = nil, nil
	for _, i := range stations {
		out.mean = append(out.mean, f.mean[i])
	}
	for from := 0; from < len(f.unit); from += 3 * len(f.mean) {
		for _, i := range stations {
			out.unit = append(out.unit, f.unit[from+3*i:from+3*i+3]...)
		}
	}
	return out
}
