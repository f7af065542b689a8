package fieldmap

import (
	"cmp"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

const (
	ceilingReadings = 24 // readings that a ceiling rests on
	ceilingPoints   = 64 // points that share them
)

// Means is Mean for many points: the means of Predict at a small part of its
// cost.
func (m *Map) Means(points []r3.Vec) []r3.Vec {
	out := make([]r3.Vec, len(points))
	for i, p := range points {
		out[i] = m.Mean(p)
	}
	return out
}

// Ceiling returns for each point a covariance, uT^2, that is nowhere smaller
// than that of Predict: the posterior covariance given only the readings nearest
// to the point and its neighbours. Its cost hardly grows with the number of
// readings. For maps of few readings it is the covariance of Predict.
//
// The other readings could only narrow it: for jointly normal f, u and v
//
//	Cov(f | u) - Cov(f | u, v) = Cov(f, v | u) Cov(v | u)^-1 Cov(v, f | u),
//
// which is positive semidefinite. Source: Rasmussen and Williams (2006), eq.
// A.6, applied to the distribution given u.
func (m *Map) Ceiling(points []r3.Vec) []magmath.Mat3 {
	out := make([]magmath.Mat3, len(points))
	all := make([]int, len(points))
	for i := range all {
		all[i] = i
	}
	m.ceiling(points, all, out)
	return out
}

// ceiling fills in the ceilings of the points with the given numbers. It halves
// the set along its longest extent until the points are few enough to share their
// nearest readings.
func (m *Map) ceiling(points []r3.Vec, of []int, out []magmath.Mat3) {
	if len(of) > ceilingPoints {
		low, high := points[of[0]], points[of[0]]
		for _, i := range of {
			p := points[i]
			low = r3.Vec{X: min(low.X, p.X), Y: min(low.Y, p.Y), Z: min(low.Z, p.Z)}
			high = r3.Vec{X: max(high.X, p.X), Y: max(high.Y, p.Y), Z: max(high.Z, p.Z)}
		}
		size := r3.Sub(high, low)
		along := func(p r3.Vec) float64 { return p.X }
		switch {
		case size.Y >= max(size.X, size.Z):
			along = func(p r3.Vec) float64 { return p.Y }
		case size.Z > size.X:
			along = func(p r3.Vec) float64 { return p.Z }
		}
		slices.SortFunc(of, func(a, b int) int { return cmp.Or(cmp.Compare(along(points[a]), along(points[b])), a-b) })
		m.ceiling(points, of[:len(of)/2], out)
		m.ceiling(points, of[len(of)/2:], out)
		return
	}
	some, middle := make([]r3.Vec, len(of)), r3.Vec{}
	for k, i := range of {
		some[k] = points[i]
		middle = r3.Add(middle, r3.Scale(1/float64(len(of)), points[i]))
	}
	part := m
	if len(m.data.At) > ceilingReadings {
		part = m.given(nearest(m.data.At, middle, ceilingReadings))
	}
	_, cov := part.Predict(some)
	for k, i := range of {
		out[i] = cov[k]
	}
}

// nearest returns the indices of the n places nearest to p, in ascending order.
func nearest(at []r3.Vec, p r3.Vec, n int) []int {
	order := make([]int, len(at))
	far := make([]float64, len(at))
	for i, q := range at {
		order[i], far[i] = i, r3.Norm2(r3.Sub(q, p))
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(far[a], far[b]), a-b) })
	order = order[:n]
	slices.Sort(order)
	return order
}

// given returns the map conditioned on some of its readings alone. Only its
// covariances are valid, not its means. It returns m if the covariance of the
// readings cannot be factorized.
func (m *Map) given(readings []int) *Map {
	out := &Map{Kernel: m.Kernel, Sources: m.Sources, data: m.data.Pick(readings), known: m.known.pick(readings), kernel: m.kernel}
	out.fields = out.known.scaled()
	var err error
	if out.upper, err = factorized(out.data.At, out.data.Noise, out.Kernel, out.known, mat.NewSymDense(3*len(readings), nil)); err != nil {
		return m
	}
	out.alpha = mat.NewVecDense(3*len(readings), nil)
	return out
}
