package swing

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// SteadyPromise is the steady part of a spot as the map predicted it, beside
// what a calibration of the finished craft found there. Craft frame,
// microtesla.
type SteadyPromise struct {
	Predicted    r3.Vec
	PredictedCov magmath.Mat3 // of the map, uT^2
	Found        r3.Vec       // offset of the calibration on the craft less that of the loose module, in the craft frame, and what its matrix tells of iron
	FoundCov     magmath.Mat3 // of both calibrations, uT^2
	Induced      r3.Vec       // what of Found the matrices of the calibrations tell of iron that the field of the survey magnetises
	InducedUT    float64      // how well it is known what iron that the field magnetises adds; one standard deviation a component
}

// Kept is the comparison.
type Kept struct {
	Off    r3.Vec  // found less predicted
	OffUT  float64 // its length
	PValue float64 // of so much by chance; NaN where a covariance has no inverse
	Kept   bool    // the probability is 5 % or more
}

// Compare tests the promise: a chi square of the difference with three degrees
// of freedom.
func (s SteadyPromise) Compare() Kept {
	off := r3.Sub(s.Found, s.Predicted)
	sum := s.PredictedCov.Add(s.FoundCov).Add(magmath.Identity().Scale(s.InducedUT * s.InducedUT))
	k := Kept{Off: off, OffUT: r3.Norm(off), PValue: math.NaN()}
	var chol mat.Cholesky
	var x mat.VecDense
	d := mat.NewVecDense(3, []float64{off.X, off.Y, off.Z})
	if !sum.Finite() || !magmath.FiniteVec(off) || !chol.Factorize(sum.Sym()) || chol.SolveVecTo(&x, d) != nil {
		return k
	}
	k.PValue = distuv.ChiSquared{K: 3}.Survival(mat.Dot(d, &x))
	k.Kept = k.PValue >= 0.05
	return k
}
