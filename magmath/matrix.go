// Package magmath holds what the numeric packages below it share: matrices of
// three by three, medians, and vector readings with their covariance. Everything
// under magmath is pure: numbers in, numbers out; it reads no file and no clock,
// starts no goroutine and knows no craft file.
//
// Start reading at Mat3 and Readings.
//
// Units are microtesla, millimetres, seconds, amperes, degrees and ampere
// square metres unless a name says otherwise. The craft frame is that of
// ISO 1151: x forward, y right, z down.
package magmath

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"
)

// Mat3 is a 3 by 3 matrix, row by row.
type Mat3 [3][3]float64

// Identity returns the unit matrix.
func Identity() Mat3 { return Mat3{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}} }

// Diagonal returns the matrix with a, b, c on its diagonal and nothing else.
func Diagonal(a, b, c float64) Mat3 { return Mat3{{a, 0, 0}, {0, b, 0}, {0, 0, c}} }

// Outer returns a b^T.
func Outer(a, b r3.Vec) Mat3 {
	return Mat3{
		{a.X * b.X, a.X * b.Y, a.X * b.Z},
		{a.Y * b.X, a.Y * b.Y, a.Y * b.Z},
		{a.Z * b.X, a.Z * b.Y, a.Z * b.Z},
	}
}

// Cross returns the matrix [a]x with [a]x b = a x b.
func Cross(a r3.Vec) Mat3 {
	return Mat3{{0, -a.Z, a.Y}, {a.Z, 0, -a.X}, {-a.Y, a.X, 0}}
}

// Apply returns m v.
func (m Mat3) Apply(v r3.Vec) r3.Vec {
	return r3.Vec{
		X: m[0][0]*v.X + m[0][1]*v.Y + m[0][2]*v.Z,
		Y: m[1][0]*v.X + m[1][1]*v.Y + m[1][2]*v.Z,
		Z: m[2][0]*v.X + m[2][1]*v.Y + m[2][2]*v.Z,
	}
}

// Mul returns m n.
func (m Mat3) Mul(n Mat3) Mat3 {
	var out Mat3
	for i := range 3 {
		for j := range 3 {
			out[i][j] = m[i][0]*n[0][j] + m[i][1]*n[1][j] + m[i][2]*n[2][j]
		}
	}
	return out
}

// Transpose returns m with rows and columns exchanged.
func (m Mat3) Transpose() Mat3 {
	var out Mat3
	for i := range 3 {
		for j := range 3 {
			out[i][j] = m[j][i]
		}
	}
	return out
}

// Add returns m + n.
func (m Mat3) Add(n Mat3) Mat3 {
	for i := range 3 {
		for j := range 3 {
			m[i][j] += n[i][j]
		}
	}
	return m
}

// Scale returns k m.
func (m Mat3) Scale(k float64) Mat3 {
	for i := range 3 {
		for j := range 3 {
			m[i][j] *= k
		}
	}
	return m
}

// Turn returns r m r^T, the covariance of r v if m is that of v.
func (m Mat3) Turn(r Mat3) Mat3 { return r.Mul(m).Mul(r.Transpose()) }

// Trace returns the sum of the diagonal.
func (m Mat3) Trace() float64 { return m[0][0] + m[1][1] + m[2][2] }

// Det returns the determinant: 1 for a rotation, -1 for a reflection.
func (m Mat3) Det() float64 {
	return m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) -
		m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) +
		m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
}

// Inverse returns the inverse, by cofactors; zero and false if there is none or
// an element is not finite.
func (m Mat3) Inverse() (Mat3, bool) {
	d := m.Det()
	if d == 0 || math.IsNaN(d) || math.IsInf(d, 0) {
		return Mat3{}, false
	}
	var out Mat3
	for i := range 3 {
		for j := range 3 {
			a, b := (i+1)%3, (i+2)%3
			c, e := (j+1)%3, (j+2)%3
			out[j][i] = (m[a][c]*m[b][e] - m[a][e]*m[b][c]) / d
		}
	}
	if !out.Finite() {
		return Mat3{}, false
	}
	return out, true
}

// Positive reports whether the symmetric m is positive definite, by its
// leading minors (Sylvester's criterion).
func (m Mat3) Positive() bool {
	return m[0][0] > 0 && m[0][0]*m[1][1]-m[0][1]*m[1][0] > 0 && m.Det() > 0
}

// Mahalanobis returns v^T m^-1 v, the squared length of v in standard deviations
// of a covariance m; +Inf if m is not positive definite.
func Mahalanobis(v r3.Vec, m Mat3) float64 {
	inv, ok := m.Inverse()
	if !ok || !m.Positive() {
		return math.Inf(1)
	}
	return r3.Dot(v, inv.Apply(v))
}

// Finite reports whether no element is NaN or infinite.
func (m Mat3) Finite() bool {
	for _, row := range m {
		for _, v := range row {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				return false
			}
		}
	}
	return true
}

// FiniteVec reports whether no component of v is NaN or infinite.
func FiniteVec(v r3.Vec) bool {
	s := v.X + v.Y + v.Z
	return !math.IsNaN(s) && !math.IsInf(s, 0)
}

// BeyondUT, microtesla, stands for a field that has no value, on a source: far beyond
// what any magnet makes, so that what is predicted there is as uncertain as can be.
const BeyondUT = 1e6
