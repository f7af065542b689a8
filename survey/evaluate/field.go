package evaluate

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
)

// Predict returns the posterior means, microtesla, and covariances of a field at
// points of the craft frame, mm. It asks a field that has a method Predict for all
// points at once.
func Predict(f Field, points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	if b, ok := f.(interface {
		Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3)
	}); ok {
		return b.Predict(points)
	}
	mean, cov := make([]r3.Vec, len(points)), make([]magmath.Mat3, len(points))
	for i, p := range points {
		mean[i], cov[i] = f.At(p)
	}
	return mean, cov
}

// Joint returns the joint posterior of a field at points: the means, and one
// covariance with three rows a point. Points are independent of one another if
// the field has no method Joint.
func Joint(f Field, points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	if j, ok := f.(interface {
		Joint(points []r3.Vec) ([]r3.Vec, *mat.SymDense)
	}); ok {
		return j.Joint(points)
	}
	mean, blocks := Predict(f, points)
	cov := mat.NewSymDense(3*len(points), nil)
	for i, b := range blocks {
		for a := range 3 {
			for c := a; c < 3; c++ {
				cov.SetSym(3*i+a, 3*i+c, b[a][c])
			}
		}
	}
	return mean, cov
}

// Means returns the means that Predict returns, faster if the field has a method
// Means.
func Means(f Field, points []r3.Vec) []r3.Vec {
	if m, ok := f.(interface{ Means([]r3.Vec) []r3.Vec }); ok {
		return m.Means(points)
	}
	mean, _ := Predict(f, points)
	return mean
}

// Ceiling returns covariances that are nowhere smaller than those that Predict
// returns, faster if the field has a method Ceiling. mean holds the means at the
// points.
func Ceiling(f Field, points, mean []r3.Vec) []magmath.Mat3 {
	switch m := f.(type) {
	case *fieldmap.Map:
		return m.Ceiling(points)
	case interface {
		Ceiling(points, mean []r3.Vec) []magmath.Mat3
	}:
		return m.Ceiling(points, mean)
	}
	_, cov := Predict(f, points)
	return cov
}

// SpacingMM returns the usual distance between the stations: that of the craft
// file's grid, else the median distance from a station to its nearest neighbour.
func (f *Findings) SpacingMM() float64 {
	x := Index{}
	for _, s := range f.Stations {
		x.Stations = append(x.Stations, Place{Station: s.Station})
	}
	return x.Spacing(f.Craft)
}
