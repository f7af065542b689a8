package findings

import (
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// altered is a field with something added that was never measured: a known
// change, and what is not known of it.
type altered struct {
	base    Field // nil: no field
	changes []change
}

// change is an exact field with the derivatives by what is uncertain in it and
// the covariance of that. slopes may be nil.
type change struct {
	field  func(p r3.Vec) r3.Vec
	slopes func(p r3.Vec) []r3.Vec
	cov    *mat.SymDense
}

// beyondUT stands for the field on a source, which has no value.
const beyondUT = 1e6

func (c change) at(p r3.Vec) (r3.Vec, []r3.Vec) {
	b := c.field(p)
	if !magmath.FiniteVec(b) || r3.Norm(b) > beyondUT {
		return r3.Vec{X: beyondUT}, nil
	}
	if c.slopes == nil {
		return b, nil
	}
	s := c.slopes(p)
	for _, v := range s {
		if !magmath.FiniteVec(v) {
			return r3.Vec{X: beyondUT}, nil
		}
	}
	return b, s
}

// covariance is that of the change at p with itself at q, given its slopes
// there; zero where either is on a source.
func (c change) covariance(p, q []r3.Vec) magmath.Mat3 {
	var m magmath.Mat3
	for i, u := range p {
		for j, v := range q {
			m = m.Add(magmath.Outer(u, v).Scale(c.cov.At(i, j)))
		}
	}
	return m
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
		mean, cov = predict(a.base, points)
	}
	for i, p := range points {
		for _, c := range a.changes {
			b, s := c.at(p)
			mean[i] = r3.Add(mean[i], b)
			cov[i] = cov[i].Add(c.covariance(s, s))
		}
	}
	return mean, cov
}

// Means implements boundedField.
func (a altered) Means(points []r3.Vec) []r3.Vec {
	mean := make([]r3.Vec, len(points))
	if a.base != nil {
		mean = means(a.base, points)
	}
	for i, p := range points {
		for _, c := range a.changes {
			b, _ := c.at(p)
			mean[i] = r3.Add(mean[i], b)
		}
	}
	return mean
}

// Ceiling implements boundedField.
func (a altered) Ceiling(points, _ []r3.Vec) []magmath.Mat3 {
	cov := make([]magmath.Mat3, len(points))
	if a.base != nil {
		cov = ceiling(a.base, points, means(a.base, points))
	}
	for i, p := range points {
		for _, c := range a.changes {
			_, s := c.at(p)
			cov[i] = cov[i].Add(c.covariance(s, s))
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
		mean, cov = joint(a.base, points)
	}
	for _, c := range a.changes {
		slopes := make([][]r3.Vec, len(points))
		for i, p := range points {
			var b r3.Vec
			b, slopes[i] = c.at(p)
			mean[i] = r3.Add(mean[i], b)
		}
		for i := range points {
			for j := i; j < len(points); j++ {
				addBlock(cov, i, j, c.covariance(slopes[i], slopes[j]))
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
