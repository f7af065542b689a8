package calib

import (
	"math"

	"quietmount/magmath"
)

// The shape of M is spelled in six symmetric matrices of unit norm: the common
// gain, two differences of gains and three cross terms. shapes[0] alone gives
// the four-parameter model, the first three the six-parameter one, all six the
// nine-parameter one.
const nShapes = 6

// shapes are read only.
var shapes = [nShapes]magmath.Mat3{
	magmath.Diagonal(1/math.Sqrt(3), 1/math.Sqrt(3), 1/math.Sqrt(3)),
	magmath.Diagonal(1/math.Sqrt2, -1/math.Sqrt2, 0),
	magmath.Diagonal(1/math.Sqrt(6), 1/math.Sqrt(6), -2/math.Sqrt(6)),
	{{0, 1 / math.Sqrt2, 0}, {1 / math.Sqrt2, 0, 0}, {0, 0, 0}},
	{{0, 0, 1 / math.Sqrt2}, {0, 0, 0}, {1 / math.Sqrt2, 0, 0}},
	{{0, 0, 0}, {0, 0, 1 / math.Sqrt2}, {0, 1 / math.Sqrt2, 0}},
}

// shapesOf is how many shapes a model of that many parameters fits.
func shapesOf(parameters int) int { return parameters - 3 }

// matrixOf is the identity and the weighted shapes.
func matrixOf(e []float64) magmath.Mat3 {
	m := magmath.Identity()
	for j, v := range e {
		m = m.Add(shapes[j].Scale(v))
	}
	return m
}

// priorVariances of the six weights. The gains are independent of one
// another; the unknown strength of the field moves all three together.
func (o Options) priorVariances() [nShapes]float64 {
	g, c := o.Prior.Gain*o.Prior.Gain, 2*o.Prior.Cross*o.Prior.Cross
	f := o.ReferenceStandardUT / o.ReferenceUT
	return [nShapes]float64{g + 3*f*f, g, g, c, c, c}
}

// eigenvalues of a symmetric 3 by 3 matrix, ascending.
//
// Source: Smith 1961, Communications of the ACM 4, 168 (from memory).
func eigenvalues(m magmath.Mat3) [3]float64 {
	q := m.Trace() / 3
	p2 := 2 * (m[0][1]*m[0][1] + m[0][2]*m[0][2] + m[1][2]*m[1][2])
	for i := range 3 {
		p2 += (m[i][i] - q) * (m[i][i] - q)
	}
	p := math.Sqrt(p2 / 6)
	if p == 0 {
		return [3]float64{q, q, q}
	}
	half := m.Add(magmath.Diagonal(-q, -q, -q)).Scale(1/p).Det() / 2
	phi := math.Acos(min(max(half, -1), 1)) / 3
	largest, smallest := q+2*p*math.Cos(phi), q+2*p*math.Cos(phi+2*math.Pi/3)
	return [3]float64{smallest, 3*q - largest - smallest, largest}
}

// maxCondition bounds the ratio of the largest to the smallest gain of M:
// beyond it no probe is worth calibrating.
const maxCondition = 5

func allowed(m magmath.Mat3) bool {
	l := eigenvalues(m)
	return l[0] > 0.05 && l[2] <= maxCondition*l[0]
}
