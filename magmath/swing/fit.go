package swing

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
)

// fit fills in both sets of coefficients.
func (s *Result) fit(rows []Row, o Options) error {
	dof := float64(len(rows) - 5)
	s.DF = priorWeight + dof
	approx, cov, left, err := fitApproximate(rows)
	if err != nil {
		return err
	}
	s.Approximate, s.ApproxSU = approx, uncertainty(cov, left, dof, o, 1)
	nan := math.NaN()
	s.ExactC = Coefficients{nan, nan, nan, nan, nan}
	s.ExactSU = s.ExactC
	if exact, cov, miss, err := fitExact(rows, approx.ExactFromApproximate()); err == nil {
		s.ExactC, s.ExactSU = exact, uncertainty(cov, miss, dof, o, math.Pi/180)
		if o.Exact {
			s.Exact, left = true, miss
		}
	}
	s.ResidualDeg, s.ResidualP = math.NaN(), math.NaN()
	if dof > 0 {
		s.ResidualDeg = math.Sqrt(left / dof)
		s.ResidualP = distuv.ChiSquared{K: dof}.Survival(left / (o.HeadingDeg * o.HeadingDeg))
	}
	return nil
}

// uncertainty scales an unscaled covariance; left is the sum of squared
// residuals in degrees, unit the coefficients' own per degree.
func uncertainty(cov *mat.SymDense, left, dof float64, o Options, unit float64) Coefficients {
	scale := unit * math.Sqrt((priorWeight*o.HeadingDeg*o.HeadingDeg+left)/(priorWeight+dof))
	at := func(i int) float64 { return scale * math.Sqrt(cov.At(i, i)) }
	return Coefficients{A: math.Hypot(at(0), unit*o.ReferenceDeg), B: at(1), C: at(2), D: at(3), E: at(4)}
}

// fitApproximate solves linear least squares in the compass heading. cov is that of
// the coefficients for residuals of unit variance.
func fitApproximate(rows []Row) (c Coefficients, cov *mat.SymDense, left float64, err error) {
	design, y := mat.NewDense(len(rows), 5, nil), mat.NewVecDense(len(rows), nil)
	mid := middle(rows)
	for i, r := range rows {
		s, k := math.Sincos(rad(r.CompassDeg))
		s2, k2 := math.Sincos(2 * rad(r.CompassDeg))
		design.SetRow(i, []float64{1, s, k, s2, k2})
		y.SetVec(i, heading.Wrap180(r.DeviationDeg-mid))
	}
	b, cov, left, err := leastSquares(design, y)
	if err != nil {
		return c, nil, 0, err
	}
	return Coefficients{heading.Wrap180(b[0] + mid), b[1], b[2], b[3], b[4]}, cov, left, nil
}

// middle returns the mean direction of the deviations, so that a curve about 180
// degrees does not fall apart.
func middle(rows []Row) float64 {
	var s, k float64
	for _, r := range rows {
		sin, cos := math.Sincos(rad(r.DeviationDeg))
		s, k = s+sin, k+cos
	}
	return deg(math.Atan2(s, k))
}

// fitExact solves least squares of the exact form in the magnetic heading, by
// Gauss-Newton with halved steps. cov is for residuals of unit variance in
// radians.
func fitExact(rows []Row, start Coefficients) (c Coefficients, cov *mat.SymDense, left float64, err error) {
	c = start
	left = exactLeft(rows, c)
	if lower := exactLeft(rows, Coefficients{}); !(left <= lower) {
		c, left = Coefficients{}, lower
	}
	for range 60 {
		design, y := mat.NewDense(len(rows), 5, nil), mat.NewVecDense(len(rows), nil)
		for i, r := range rows {
			design.SetRow(i, c.slopes(rad(r.MagneticDeg)))
			y.SetVec(i, rad(heading.Wrap180(r.DeviationDeg-c.Exact(r.MagneticDeg))))
		}
		var step []float64
		step, cov, _, err = leastSquares(design, y)
		if err != nil || worstPull(rows, c) < leastPull {
			return c, nil, 0, errNoExact
		}
		next, size := c, 1.0
		for ; size > 1e-6; size /= 2 {
			next = Coefficients{c.A + size*step[0], c.B + size*step[1], c.C + size*step[2], c.D + size*step[3], c.E + size*step[4]}
			if exactLeft(rows, next) <= left {
				break
			}
		}
		if size <= 1e-6 {
			break
		}
		before := left
		c, left = next, exactLeft(rows, next)
		if before-left <= 1e-14*(1+before) {
			break
		}
	}
	return c, cov, left, nil
}

// leastPull is the smallest directive force, over the mean one, that the exact
// form is taken for; below it the compass hardly points (common practice, no
// source).
const leastPull = 0.1

var errNoExact = errors.New("the deviations are too large for the exact form")

// worstPull returns the smallest directive force over the mean one.
func worstPull(rows []Row, c Coefficients) float64 {
	least := math.Inf(1)
	for _, r := range rows {
		p := c.pull(rad(r.MagneticDeg))
		least = min(least, math.Hypot(real(p), imag(p)))
	}
	return least
}

func exactLeft(rows []Row, c Coefficients) float64 {
	sum := 0.0
	for _, r := range rows {
		d := heading.Wrap180(r.DeviationDeg - c.Exact(r.MagneticDeg))
		sum += d * d
	}
	return sum
}

// slopes returns the derivatives of the exact deviation, in radians, by the
// coefficients.
func (c Coefficients) slopes(z float64) []float64 {
	p := c.pull(z)
	k, s := real(p), imag(p)
	size := max(k*k+s*s, 1e-12)
	sin, cos := math.Sincos(z)
	sin2, cos2 := math.Sincos(2 * z)
	by := func(dk, ds float64) float64 { return (k*ds - s*dk) / size }
	return []float64{by(0, 1), by(cos, sin), by(-sin, cos), by(cos2, sin2), by(-sin2, cos2)}
}

// leastSquares solves design b = y. cov is the inverse of the normal matrix,
// left the sum of squared residuals.
func leastSquares(design *mat.Dense, y *mat.VecDense) (b []float64, cov *mat.SymDense, left float64, err error) {
	_, n := design.Dims()
	var normal mat.SymDense
	normal.SymOuterK(1, design.T())
	var chol mat.Cholesky
	if !chol.Factorize(&normal) || chol.Cond() > 1e10 {
		return nil, nil, 0, fmt.Errorf("%w: they leave a coefficient open", ErrTooFew)
	}
	var right, x, miss mat.VecDense
	right.MulVec(design.T(), y)
	if err := chol.SolveVecTo(&x, &right); err != nil {
		return nil, nil, 0, fmt.Errorf("%w: %w", ErrTooFew, err)
	}
	cov = mat.NewSymDense(n, nil)
	if err := chol.InverseTo(cov); err != nil {
		return nil, nil, 0, fmt.Errorf("%w: %w", ErrTooFew, err)
	}
	miss.MulVec(design, &x)
	miss.SubVec(y, &miss)
	return x.RawVector().Data, cov, mat.Dot(&miss, &miss), nil
}

// Deviation returns the fitted deviation in degrees at a magnetic heading: by the
// form that the fitted values have.
func (s Result) Deviation(magneticDeg float64) float64 {
	if s.Exact {
		return s.ExactC.Exact(magneticDeg)
	}
	d := heading.Wrap180(s.Approximate.Approximate(magneticDeg))
	for range 200 {
		next := heading.Wrap180(s.Approximate.Approximate(magneticDeg - d))
		if math.Abs(heading.Wrap180(next-d)) < 1e-10 {
			return next
		}
		d = heading.Wrap180(d + heading.Wrap180(next-d)/2)
	}
	return d
}

// finish fills in the fitted values and the remarks.
func (s *Result) finish(o Options) {
	for i, r := range s.Rows {
		if s.Exact {
			s.Rows[i].FittedDeg = s.ExactC.Exact(r.MagneticDeg)
		} else {
			s.Rows[i].FittedDeg = heading.Wrap180(s.Approximate.Approximate(r.CompassDeg))
		}
		if d := math.Abs(r.DeviationDeg); !r.LeftOut && d > s.MaxDeviation {
			s.MaxDeviation, s.At = d, r.MagneticDeg
		}
	}
	if s.Cause.Kind != CauseNone {
		s.Remarks = append(s.Remarks, s.Cause.Remark())
	}
	if a := s.Approximate.A; !o.Relative && math.Abs(a) > farTwistDeg && s.Cause.Kind != CauseReversed {
		s.Remarks = append(s.Remarks, remark.New("swing.turned", remark.Values{"a_deg": a}))
	}
	if o.Relative {
		s.Remarks = append(s.Remarks, remark.New("swing.relative"))
	}
	if s.MaxDeviation > exactBeyondDeg && !s.Exact && !math.IsNaN(s.ExactC.A) {
		s.Remarks = append(s.Remarks, remark.New("swing.large", remark.Values{"beyond_deg": exactBeyondDeg}))
	}
}

// farTwistDeg is an A that nobody glues by accident (common practice, no
// source).
const farTwistDeg = 15.0

// exactBeyondDeg is where the approximate form is left.
// Source: Elementary Manual for the Deviations of the Compass in Iron Ships
// (1875): beyond 20 degrees the exact form.
const exactBeyondDeg = 20.0
