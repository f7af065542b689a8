package whatif

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/survey/evaluate"
)

// altered is a field with something added that was never measured: a known
// change, and what is not known of it.
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
		mean, cov = evaluate.Predict(a.base, points)
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
		mean = evaluate.Means(a.base, points)
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
		cov = evaluate.Ceiling(a.base, points, evaluate.Means(a.base, points))
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
		mean, cov = evaluate.Joint(a.base, points)
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
				addBlock(cov, i, j, c.Covariance(slopes[i], slopes[j]))
			}
		}
	}
	return mean, cov
}

func addBlock(cov *mat.SymDense, i, j int, m magmath.Mat3) {
	for a := range 3 {
		for b := range 3 {
			if u, v := 3*i+a, 3*j+b; u <= v {
				cov.SetSym(u, v, cov.At(u, v)+m[a][b])
			}
		}
	}
}
