package fieldmap

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Field is an interpolated vector field with its uncertainty. The functions
// Predict, Joint, Means and Ceiling use the field's own methods of these names,
// such as those of Map, if it has them.
type Field interface {
	// At returns the posterior mean and covariance at p (craft frame,
	// millimetres): microtesla, microtesla squared.
	At(p r3.Vec) (r3.Vec, magmath.Mat3)
}

// Predict returns mean and covariance of f at many points.
func Predict(f Field, points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	if b, ok := f.(interface {
		Predict([]r3.Vec) ([]r3.Vec, []magmath.Mat3)
	}); ok {
		return b.Predict(points)
	}
	mean, cov := make([]r3.Vec, len(points)), make([]magmath.Mat3, len(points))
	for i, p := range points {
		mean[i], cov[i] = f.At(p)
	}
	return mean, cov
}

// Joint returns the joint posterior of f at the points: means and a covariance
// of three rows per point. If f has no method Joint, the points are treated as
// independent.
func Joint(f Field, points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	if j, ok := f.(interface {
		Joint([]r3.Vec) ([]r3.Vec, *mat.SymDense)
	}); ok {
		return j.Joint(points)
	}
	mean, blocks := Predict(f, points)
	return mean, magmath.BlockNoise(blocks)
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
	case *Map:
		return m.Ceiling(points)
	case interface {
		Ceiling(points, mean []r3.Vec) []magmath.Mat3
	}:
		return m.Ceiling(points, mean)
	}
	_, cov := Predict(f, points)
	return cov
}
