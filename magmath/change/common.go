package change

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// common returns the posterior of the uniform change and the rotation given the
// clean set: P H^T V^-1 d and P - P H^T V^-1 H P.
// Source: Rasmussen and Williams (2006), eq. A.6.
func (c *comparison) common(clean []int, o Options) (Common, error) {
	p := prior(o)
	out := Common{Stations: len(clean)}
	cov := mat.NewDense(6, 6, nil)
	cov.Copy(p)
	mean := mat.NewVecDense(6, nil)
	if n := len(clean); n > 0 {
		sub, d := c.block(clean)
		var chol mat.Cholesky
		if !chol.Factorize(sub) {
			return out, magmath.ErrSingular
		}
		h := mat.NewDense(3*n, 6, nil)
		for k, i := range clean {
			for a := range 3 {
				h.SetRow(3*k+a, c.h.RawRowView(3*i+a))
			}
		}
		var hp, solved, less mat.Dense
		hp.Mul(h, p)
		if err := chol.SolveTo(&solved, &hp); err != nil && math.IsInf(chol.Cond(), 1) {
			return out, magmath.ErrSingular
		}
		mean.MulVec(solved.T(), d)
		less.Mul(hp.T(), &solved)
		cov.Sub(cov, &less)
	}
	const deg = 180 / math.Pi
	out.UniformUT = r3.Vec{X: mean.AtVec(0), Y: mean.AtVec(1), Z: mean.AtVec(2)}
	out.TurnDeg = r3.Scale(deg, r3.Vec{X: mean.AtVec(3), Y: mean.AtVec(4), Z: mean.AtVec(5)})
	out.UniformCov, out.TurnCov = magmath.Block(cov, 0, 0), magmath.Block(cov, 3, 3).Scale(deg*deg)
	return out, nil
}

// Left returns all stations' differences minus the common part, microtesla, and
// their joint covariance V if nothing changed, long slips included, to which a source
// can be fitted.
// before are the vectors of Data.Before.
func (r *Result) Left(before []r3.Vec) ([]r3.Vec, *mat.SymDense) {
	out := make([]r3.Vec, len(before))
	for i, b := range before {
		d := r3.Vec{X: r.c.d[3*i], Y: r.c.d[3*i+1], Z: r.c.d[3*i+2]}
		out[i] = r3.Sub(d, r.Common.At(b))
	}
	v := mat.NewSymDense(len(r.c.d), nil)
	v.CopySym(r.c.v)
	for i, s := range r.Stations {
		if s.Slip {
			magmath.AddBlock(v, 3*i, 3*i, r.c.slips[i])
		}
	}
	return out, v
}

// RepeatabilityUT returns the root mean square of a component of a station's
// change if nothing changed, microtesla, as the median over the stations.
func (r *Result) RepeatabilityUT() float64 {
	all := make([]float64, len(r.Stations))
	for i, s := range r.Stations {
		all[i] = math.Sqrt(max(0, s.Cov.Trace()) / 3)
	}
	return magmath.Median(all)
}
