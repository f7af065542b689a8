package whatif

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/fieldmap"
	"quietmount/survey/evaluate"
)

// altered is a field with changes that were not measured: each a known field and
// the uncertainty of its parameters.
type altered struct {
	base    evaluate.Field // nil: no field
	changes []evaluate.Change
}

// At implements Field.
func (a altered) At(p r3.Vec) (r3.Vec, magmath.Mat3) {
	mean, cov := a.Predict([]r3.Vec{p})
	return mean[0], cov[0]
}

// Predict is At for many places.
func (a altered) Predict(points []r3.Vec) ([]r3.Vec, []magmath.Mat3) {
	mean, cov := make([]r3.Vec, len(points)), make([]magmath.Mat3, len(points))
	if a.base != nil {
		mean, cov = fieldmap.Predict(a.base, points)
	}
	for i, p := range points {
		for _, c := range a.changes {
			b, s := c.At(p)
			mean[i] = r3.Add(mean[i], b)
			cov[i] = cov[i].Add(c.Covariance(s, s))
		}
	}
	return mean, cov
}

// Means implements boundedField.
func (a altered) Means(points []r3.Vec) []r3.Vec {
	mean := make([]r3.Vec, len(points))
	if a.base != nil {
		mean = fieldmap.Means(a.base, points)
	}
	for i, p := range points {
		for _, c := range a.changes {
			b, _ := c.At(p)
			mean[i] = r3.Add(mean[i], b)
		}
	}
	return mean
}

// Ceiling implements boundedField.
func (a altered) Ceiling(points, _ []r3.Vec) []magmath.Mat3 {
	cov := make([]magmath.Mat3, len(points))
	if a.base != nil {
		cov = fieldmap.Ceiling(a.base, points, fieldmap.Means(a.base, points))
	}
	for i, p := range points {
		for _, c := range a.changes {
			_, s := c.At(p)
			cov[i] = cov[i].Add(c.Covariance(s, s))
		}
	}
	return cov
}

// Joint is the joint posterior.
func (a altered) Joint(points []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	if len(points) == 0 {
		return nil, nil
	}
	mean, cov := make([]r3.Vec, len(points)), mat.NewSymDense(3*len(points), nil)
	if a.base != nil {
		mean, cov = fieldmap.Joint(a.base, points)
	}
	for _, c := range a.changes {
		slopes := make([][]r3.Vec, len(points))
		for i, p := range points {
			var b r3.Vec
			b, slopes[i] = c.At(p)
			mean[i] = r3.Add(mean[i], b)
		}
		for i := range points {
			for j := i; j < len(points); j++ {
				magmath.AddBlock(cov, 3*i, 3*j, c.Covariance(slopes[i], slopes[j]))
			}
		}
	}
	return mean, cov
}
