package source

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// whole is all of a model: its elements with the joint covariance of their
// strengths and coordinates.
type whole struct {
	es  []*element
	x   [][]float64
	cov *mat.SymDense
	row []int // of the slopes, element after element, strengths first

	fields, gradients []vectors // of each element
}

func (s *search) whole(q *point) whole {
	w := whole{es: q.es}
	cov, from := s.covariance(q)
	w.cov = cov
	for k := range q.es {
		w.x = append(w.x, append([]float64(nil), q.strengthsOf(k)...))
		w.row = append(w.row, from[k]...)
		w.fields = append(w.fields, q.es[k].fields())
		w.gradients = append(w.gradients, q.es[k].gradients(w.x[k]))
	}
	return w
}

// Elements returns the number of sources behind Linear: Sources, then the parts of
// Nothing, which may be there although the readings do not show them.
func (f *Found) Elements() int { return len(f.all.es) }

// Linear returns the field of all sources together at p, microtesla, and its
// derivatives by every parameter, element after element, strengths before
// coordinates (microtesla per ampere square metre, ampere or millimetre). On a
// source the field is beyond bounds and there are no derivatives. Together with
// Prior it is the input of another fit that starts from this one.
func (f *Found) Linear(p r3.Vec) (r3.Vec, []r3.Vec) {
	var b r3.Vec
	slopes := make([]r3.Vec, 0, len(f.all.row))
	for k := range f.all.es {
		own, all := f.appendLinear(slopes, k, p)
		if all == nil {
			return own, nil
		}
		b, slopes = r3.Add(b, own), all
	}
	if r3.Norm(b) > magmath.BeyondUT {
		return r3.Vec{X: magmath.BeyondUT}, nil
	}
	return b, slopes
}

// LinearOf returns what Linear returns for the source k of Elements alone.
func (f *Found) LinearOf(k int, p r3.Vec) (r3.Vec, []r3.Vec) { return f.appendLinear(nil, k, p) }

// appendLinear is LinearOf with the derivatives appended to others; nil on the
// source.
func (f *Found) appendLinear(to []r3.Vec, k int, p r3.Vec) (r3.Vec, []r3.Vec) {
	var b r3.Vec
	slopes := f.all.fields[k](to, p)
	for i, u := range slopes[len(to):] {
		b = r3.Add(b, r3.Scale(f.all.x[k][i], u))
	}
	slopes = f.all.gradients[k](slopes, p)
	infinite := func(v r3.Vec) bool { return !magmath.FiniteVec(v) }
	if infinite(b) || r3.Norm(b) > magmath.BeyondUT || slices.ContainsFunc(slopes[len(to):], infinite) {
		return r3.Vec{X: magmath.BeyondUT}, nil
	}
	return b, slopes
}

// At returns the field of all sources together at p, microtesla, with its
// covariance, microtesla squared, by the linearised fit. The part of the
// readings that the sources do not explain is not in it. On a source the field
// is beyond bounds and the covariance zero.
func (f *Found) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	b, slopes := f.Linear(p)
	var cov magmath.Mat3
	for a, u := range slopes {
		var v r3.Vec // sum over the columns of the covariance
		for c, w := range slopes {
			v = r3.Add(v, r3.Scale(f.all.cov.At(f.all.row[a], f.all.row[c]), w))
		}
		cov = cov.Add(magmath.Outer(u, v))
	}
	return b, cov
}

// freeSD stands for a coordinate of which nothing was known beforehand, mm.
const freeSD = 60.0

// Prior returns the normal prior of every parameter in the order of Linear: by how
// much its centre departs from the value found, and its standard deviation. A
// coordinate of which nothing was known is taken for found where it is, to
// 60 mm.
func (f *Found) Prior() (departure, sd []float64) {
	for k, e := range f.all.es {
		for i, s := range e.strengthsSD {
			departure, sd = append(departure, e.strengthsAt[i]-f.all.x[k][i]), append(sd, s)
		}
		for i, s := range e.coordsSD {
			d := e.coordsAt[i] - e.coords[i]
			if math.IsInf(s, 1) || !(s > 0) {
				d, s = 0, freeSD
			}
			departure, sd = append(departure, d), append(sd, s)
		}
	}
	return departure, sd
}
