package source

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// Fitted is a source with its uncertainties.
type Fitted struct {
	Kind Kind
	Name string // of the part; empty: found without a name

	AtMM      r3.Vec       // of a dipole; of a lead the middle of its path
	AtCov     magmath.Mat3 // mm^2; of a lead the mean of that of its points
	FromMM    r3.Vec       // where the part was said to be
	MomentAm2 r3.Vec       // of a dipole
	MomentCov magmath.Mat3

	// Of a lead. Current and gap of a pair are told only as their product:
	// with a stated gap the current is that over it, else the gap is the
	// product over the current stated.
	PairAmm          [2]float64 // current times gap, level to the right of the path and across
	CurrentA, GapMM  float64    // gap NaN where the return runs elsewhere
	CurrentSD, GapSD float64    // gap 0 where stated
	PathMM           []r3.Vec   // as fitted

	Share     float64 // of the generalised sum of squares, the sources' shares and the rest add up to 1
	ChiSquare float64 // test that it explains nothing
	Freedom   int
	P         float64

	// Cov is the joint covariance of the strengths (moment or current), then
	// the coordinates (place, or the points of the path and the gap).
	Cov *mat.SymDense

	e *element
	x []float64
}

// test is that of Wald: what would be zero if the source explained nothing,
// over its own covariance.
func (c *Fitted) test() {
	n := len(c.e.tell)
	sub, x := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for a, i := range c.e.tell {
		x.SetVec(a, c.value(i))
		for b := a; b < n; b++ {
			sub.SetSym(a, b, c.Cov.At(i, c.e.tell[b]))
		}
	}
	c.P = 1
	var chol mat.Cholesky
	var y mat.VecDense
	if !chol.Factorize(sub) || chol.SolveVecTo(&y, x) != nil {
		return
	}
	c.ChiSquare, c.Freedom = mat.Dot(x, &y), n
	c.P = distuv.ChiSquared{K: float64(n)}.Survival(c.ChiSquare)
}

// value is that of row i of Cov.
func (c *Fitted) value(i int) float64 {
	if i < len(c.x) {
		return c.x[i]
	}
	return c.e.coords[i-len(c.x)]
}

func (c *Fitted) dipole() {
	c.AtMM, c.FromMM, c.MomentAm2 = place(c.e.coords), place(c.e.coordsAt), place(c.x)
	c.MomentCov, c.AtCov = magmath.Block(c.Cov, 0, 0), magmath.Block(c.Cov, 3, 3)
}

func (c *Fitted) lead() {
	c.PathMM = pointsOf(c.e.coords, c.e.points)
	c.AtMM, c.FromMM = middleOf(c.PathMM), middleOf(pointsOf(c.e.coordsAt, c.e.points))
	for k := range c.e.points {
		at := len(c.x) + 3*k
		c.AtCov = c.AtCov.Add(magmath.Block(c.Cov, at, at).Scale(1 / float64(c.e.points)))
	}
	c.GapMM, c.GapSD, c.CurrentSD = math.NaN(), math.NaN(), math.NaN()
	c.CurrentA = c.x[0]
	if c.e.returned {
		c.CurrentSD = math.Sqrt(c.Cov.At(0, 0))
		return
	}
	i, j := c.e.tell[0], c.e.tell[1]
	u, v := c.value(i), c.value(j)
	size := math.Hypot(u, v)
	c.PairAmm = [2]float64{c.x[0] * u, c.x[0] * v}
	if size > 0 {
		u, v = u/size, v/size
	} else {
		u, v = 1, 0
	}
	c.GapMM = size
	c.GapSD = math.Sqrt(u*u*c.Cov.At(i, i) + 2*u*v*c.Cov.At(i, j) + v*v*c.Cov.At(j, j))
	if c.e.gapMM > 0 {
		c.CurrentA = c.x[0] * size / c.e.gapMM
		c.CurrentSD = c.x[0] * c.GapSD / c.e.gapMM
		c.GapMM = c.e.gapMM
		c.GapSD = 0
		return
	}
	c.CurrentSD = math.Sqrt(c.Cov.At(0, 0))
}

// middleOf is the point halfway along a path.
func middleOf(path []r3.Vec) r3.Vec {
	total := 0.0
	for i := 1; i < len(path); i++ {
		total += r3.Norm(r3.Sub(path[i], path[i-1]))
	}
	left := total / 2
	for i := 1; i < len(path); i++ {
		d := r3.Sub(path[i], path[i-1])
		n := r3.Norm(d)
		if left <= n && n > 0 {
			return r3.Add(path[i-1], r3.Scale(left/n, d))
		}
		left -= n
	}
	return path[0]
}

// Field is the source's field at p, microtesla; NaN on it.
func (c Fitted) Field(p r3.Vec) r3.Vec {
	var b r3.Vec
	for i, u := range c.e.columns(c.e.coords, p) {
		b = r3.Add(b, r3.Scale(c.x[i], u))
	}
	return b
}

// Slopes are the derivatives of the field at p by what Cov is the covariance
// of.
func (c Fitted) Slopes(p r3.Vec) []r3.Vec {
	out := c.e.columns(c.e.coords, p)
	if c.e.slopes != nil {
		out = append(out, c.e.slopes(c.e.coords, c.x, p)...)
	}
	return out
}
