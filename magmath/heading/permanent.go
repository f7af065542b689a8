package heading

import (
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Turned is the steady disturbance of one place on the craft with the nose in
// one direction: craft frame, microtesla.
type Turned struct {
	NoseDeg float64 // magnetic, clockwise
	Mean    r3.Vec
	Cov     magmath.Mat3
}

// Split is a steady disturbance in two parts. Induced turns with the nose: it
// is what the horizontal field induces with the nose at NoseDeg. Permanent is
// the rest: magnets, and what the vertical field induces, which a level turn
// leaves as it is and cannot tell from a magnet.
type Split struct {
	Permanent, Induced       r3.Vec
	PermanentCov, InducedCov magmath.Mat3
	NoseDeg                  float64
}

// ErrOneDirection says that the directions of the nose do not tell permanent
// from induced.
var ErrOneDirection = errors.New("permanent and induced cannot be told apart: a second unpowered run with the nose turned by 180 degrees tells them")

// oppositeDeg is how far two directions may be off opposite.
const oppositeDeg = 20

// leastSpread is the least share of the readings' weight that each of the three
// parts of the model must have for three and more directions to tell them.
const leastSpread = 0.15

// Permanent splits the disturbances of one place, the first one's nose being
// the one for which the induced part is stated. Soft iron is magnetised in
// proportion to the ambient field. In the craft frame the level field with the
// nose at psi is H (cos psi, -sin psi, 0) and the vertical one stays, so that
//
//	d(psi) = p + a cos(psi - psi0) + c sin(psi - psi0)
//
// with p permanent and a induced at psi0. Two opposite directions give
// p = (d0 + d1)/2 and a = (d0 - d1)/2; being d degrees off opposite leaves
// (1 - cos d)/2 of a and sin(d)/2 of c in both, where c is no longer than a,
// give or take, and goes into the covariance. Three and more well-spread
// directions give all three vectors by least squares. The readings are taken
// for independent.
//
// It returns ErrOneDirection if the directions do not separate the two, a reading
// is not finite or a covariance not positive definite.
//
// Source: Poisson's equations of a ship's magnetism, e.g. Handbook of Magnetic
// Compass Adjustment, Pub. 226 (1980), ch. IV: permanent magnetism gives the
// semicircular deviation, induction in horizontal soft iron the quadrantal one,
// and vertical soft iron is told from the permanent part by a change of
// latitude alone (from memory).
func Permanent(at []Turned) (Split, error) {
	for _, t := range at {
		if !magmath.FiniteVec(t.Mean) || !t.Cov.Finite() || math.IsNaN(t.NoseDeg) || math.IsInf(t.NoseDeg, 0) {
			return Split{}, ErrOneDirection
		}
	}
	if s, ok := byLeastSquares(at); ok {
		return s, nil
	}
	for _, t := range at {
		if off := math.Abs(math.Remainder(t.NoseDeg-at[0].NoseDeg-180, 360)); off <= oppositeDeg {
			return opposite(at[0], t, off*math.Pi/180), nil
		}
	}
	return Split{}, ErrOneDirection
}

func opposite(a, b Turned, off float64) Split {
	s := Split{
		Permanent: r3.Scale(0.5, r3.Add(a.Mean, b.Mean)), Induced: r3.Scale(0.5, r3.Sub(a.Mean, b.Mean)), NoseDeg: a.NoseDeg,
	}
	cov := a.Cov.Add(b.Cov).Scale(0.25)
	left := (1 - math.Cos(off)) / 2
	size := r3.Norm2(s.Induced) + cov.Trace()
	cov = cov.Add(magmath.Identity().Scale(size * (left*left + math.Pow(math.Sin(off)/2, 2))))
	s.PermanentCov, s.InducedCov = cov, cov
	return s
}

// byLeastSquares splits the disturbances of three and more directions; ok is
// false where they are not spread well.
func byLeastSquares(at []Turned) (Split, bool) {
	if len(at) < 3 {
		return Split{}, false
	}
	shape := mat.NewSymDense(3, nil)
	info, right := mat.NewSymDense(9, nil), mat.NewVecDense(9, nil)
	for _, t := range at {
		sin, cos := math.Sincos((t.NoseDeg - at[0].NoseDeg) * math.Pi / 180)
		row := [3]float64{1, cos, sin}
		shape.SymRankOne(shape, 1/float64(len(at)), mat.NewVecDense(3, row[:]))
		if !addTurned(info, right, t, row) {
			return Split{}, false
		}
	}
	var eig mat.EigenSym
	var c mat.Cholesky
	if !eig.Factorize(shape, false) || eig.Values(nil)[0] < leastSpread || !c.Factorize(info) {
		return Split{}, false
	}
	var x mat.VecDense
	var cov mat.SymDense
	if c.SolveVecTo(&x, right) != nil || c.InverseTo(&cov) != nil {
		return Split{}, false
	}
	s := Split{NoseDeg: at[0].NoseDeg}
	s.Permanent = r3.Vec{X: x.AtVec(0), Y: x.AtVec(1), Z: x.AtVec(2)}
	s.Induced = r3.Vec{X: x.AtVec(3), Y: x.AtVec(4), Z: x.AtVec(5)}
	s.PermanentCov, s.InducedCov = magmath.Block(&cov, 0, 0), magmath.Block(&cov, 3, 3)
	return s, true
}

// addTurned adds one reading's share of the normal equations; false where its
// covariance is not positive definite.
func addTurned(info *mat.SymDense, right *mat.VecDense, t Turned, row [3]float64) bool {
	var c mat.Cholesky
	var w mat.SymDense
	if !c.Factorize(t.Cov.Sym()) || c.InverseTo(&w) != nil {
		return false
	}
	d := [3]float64{t.Mean.X, t.Mean.Y, t.Mean.Z}
	for i := range 9 {
		for k := range 3 {
			right.SetVec(i, right.AtVec(i)+row[i/3]*w.At(i%3, k)*d[k])
		}
		for j := i; j < 9; j++ {
			info.SetSym(i, j, info.At(i, j)+row[i/3]*row[j/3]*w.At(i%3, j%3))
		}
	}
	return true
}
