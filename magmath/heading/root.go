package heading

import (
	"math"

	"quietmount/magmath"
)

// root returns the symmetric square root of a covariance: root times itself is the
// covariance. Unlike a Cholesky factor it exists and is continuous where the
// covariance is singular. The matrix is made symmetric first, and negative
// eigenvalues, which rounding leaves in a singular matrix, count as zero.
//
// Source: Golub and Van Loan (2013), Matrix Computations, 4th ed., section 8.5
// (cyclic Jacobi).
func root(cov magmath.Mat3) magmath.Mat3 {
	a := cov.Add(cov.Transpose()).Scale(0.5)
	v := magmath.Identity()
	for range maxSweeps {
		off := math.Abs(a[0][1]) + math.Abs(a[0][2]) + math.Abs(a[1][2])
		if off <= 1e-15*(math.Abs(a[0][0])+math.Abs(a[1][1])+math.Abs(a[2][2])) {
			break
		}
		rotate(&a, &v, 0, 1)
		rotate(&a, &v, 0, 2)
		rotate(&a, &v, 1, 2)
	}
	var out magmath.Mat3
	for k := range 3 {
		s := math.Sqrt(max(a[k][k], 0))
		for i := range 3 {
			for j := range 3 {
				out[i][j] += s * v[i][k] * v[j][k]
			}
		}
	}
	return out
}

// maxSweeps is more than the four or five that a 3 by 3 matrix takes.
const maxSweeps = 20

// rotate zeroes a[p][q] by a plane rotation and gathers it in v.
func rotate(a, v *magmath.Mat3, p, q int) {
	if a[p][q] == 0 {
		return
	}
	tau := (a[q][q] - a[p][p]) / (2 * a[p][q])
	t := math.Copysign(1/(math.Abs(tau)+math.Hypot(1, tau)), tau)
	c := 1 / math.Hypot(1, t)
	s := t * c
	for k := range 3 {
		a[k][p], a[k][q] = c*a[k][p]-s*a[k][q], s*a[k][p]+c*a[k][q]
	}
	for k := range 3 {
		a[p][k], a[q][k] = c*a[p][k]-s*a[q][k], s*a[p][k]+c*a[q][k]
	}
	for k := range 3 {
		v[k][p], v[k][q] = c*v[k][p]-s*v[k][q], s*v[k][p]+c*v[k][q]
	}
}
