package change

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"
	"gonum.org/v1/gonum/stat/distuv"

	"quietmount/magmath"
)

// comparison is the work behind Compare.
type comparison struct {
	n int
	d []float64     // differences, three a station
	c *mat.SymDense // of d for known common part
	h *mat.Dense    // derivatives by the common part: 3n rows, uniform then rotation (radians)
	v *mat.SymDense // of d if nothing changed
	f []float64     // degrees of freedom, a station

	slips     []magmath.Mat3 // nil: none
	slipShare float64
}

func newComparison(d Data, o Options) *comparison {
	c := &comparison{n: len(d.Diff), c: d.Cov, h: mat.NewDense(3*len(d.Diff), 6, nil)}
	c.f, c.slips, c.slipShare = d.Freedom, d.Slips, o.SlipShare
	for i, v := range d.Diff {
		c.d = append(c.d, v.X, v.Y, v.Z)
		// t x b = -[b]x t
		turn := magmath.Cross(d.Before[i]).Scale(-1)
		for a := range 3 {
			c.h.Set(3*i+a, a, 1)
			for b := range 3 {
				c.h.Set(3*i+a, 3+b, turn[a][b])
			}
		}
	}
	var hp, sum mat.Dense
	hp.Mul(c.h, prior(o))
	sum.Mul(&hp, c.h.T())
	c.v = mat.NewSymDense(3*c.n, nil)
	for i := range 3 * c.n {
		for j := i; j < 3*c.n; j++ {
			c.v.SetSym(i, j, d.Cov.At(i, j)+(sum.At(i, j)+sum.At(j, i))/2)
		}
	}
	return c
}

// prior returns the common part's covariance: uniform change, rotation in radians.
func prior(o Options) *mat.DiagDense {
	u, t := o.UniformUT*o.UniformUT, math.Pow(o.TurnDeg*math.Pi/180, 2)
	return mat.NewDiagDense(6, []float64{u, u, u, t, t, t})
}

// cleanP is the probability below which a station leaves the clean set.
const cleanP = 0.01

// settle grows the clean set until it stays the same, and tests every station
// against it.
func (c *comparison) settle() (clean []int, tests []Station, err error) {
	clean = c.start()
	const rounds = 20
	for range rounds {
		if tests, err = c.test(clean); err != nil {
			return nil, nil, err
		}
		var next []int
		for i, t := range tests {
			if c.chance(t.ChiSquare, i) >= cleanP {
				next = append(next, i)
			}
		}
		if slices.Equal(next, clean) {
			break
		}
		clean = next
	}
	tests, err = c.test(clean)
	return clean, tests, err
}

// start returns the half of the stations nearest to the median difference, each
// component in units of its own uncertainty; all stations if fewer than four.
func (c *comparison) start() []int {
	all := make([]int, c.n)
	off := make([]float64, c.n)
	for i := range all {
		all[i] = i
	}
	if c.n < 4 {
		return all
	}
	for a := range 3 {
		var values []float64
		for i := range c.n {
			values = append(values, c.d[3*i+a])
		}
		middle := magmath.Median(values)
		for i := range c.n {
			z := c.d[3*i+a] - middle
			off[i] += z * z / c.c.At(3*i+a, 3*i+a)
		}
	}
	slices.SortStableFunc(all, func(i, j int) int { return cmp.Compare(off[i], off[j]) })
	half := all[:(c.n+1)/2]
	slices.Sort(half)
	return half
}

// test compares every station with its prediction from the other clean ones. With Q the inverse of the clean set's covariance, a member's departure
// from the others' prediction is Q_ii^-1 (Q d)_i, of covariance Q_ii^-1.
// Source: C. E. Rasmussen, C. K. I. Williams, Gaussian Processes for Machine
// Learning (2006), eq. 5.12 (leave-one-out) and A.6 (conditioning).
func (c *comparison) test(clean []int) ([]Station, error) {
	out := make([]Station, c.n)
	var q mat.SymDense
	if len(clean) > 0 {
		sub, _ := c.block(clean)
		var chol mat.Cholesky
		if !chol.Factorize(sub) {
			return nil, magmath.ErrSingular
		}
		if err := chol.InverseTo(&q); err != nil && math.IsInf(chol.Cond(), 1) {
			return nil, magmath.ErrSingular
		}
	}
	for i := range out {
		var diff r3.Vec
		var cov magmath.Mat3
		if k, member := slices.BinarySearch(clean, i); member {
			diff, cov = c.leftOut(&q, clean, k)
		} else {
			diff, cov = c.outside(&q, clean, i)
		}
		t := magmath.Mahalanobis(diff, cov)
		if math.IsInf(t, 1) {
			return nil, magmath.ErrSingular
		}
		out[i] = Station{Change: diff, Cov: cov, ChiSquare: t}
		out[i].P, out[i].Slip = c.withSlip(out[i], i)
	}
	return out, nil
}

// withSlip returns the probability of a departure larger than that of station i if
// nothing changed, and whether a long slip explains it and the ordinary hand does
// not. The departure is drawn from a mixture, with the slip's covariance for the
// share of differences that have one, and its distances from zero are those in the
// one and in the other; for a single component this probability is exact, for several
// at most twice too small.
func (c *comparison) withSlip(s Station, i int) (p float64, slip bool) {
	ordinary := c.chance(s.ChiSquare, i)
	if c.slips == nil {
		return ordinary, false
	}
	long := c.chance(magmath.Mahalanobis(s.Change, s.Cov.Add(c.slips[i])), i)
	return (1-c.slipShare)*ordinary + c.slipShare*long, ordinary < cleanP && long >= cleanP
}

// chance returns the probability of a squared distance larger than t if nothing
// changed: a third of it has an F distribution with three and the covariance's
// own degrees of freedom (a multivariate t); it is chi-square if the covariance is
// known exactly.
func (c *comparison) chance(t float64, i int) float64 {
	if c.f == nil || !(c.f[i] < exactlyKnown) {
		return distuv.ChiSquared{K: 3}.Survival(t)
	}
	return distuv.F{D1: 3, D2: max(c.f[i], 1)}.Survival(t / 3)
}

// exactlyKnown is the number of degrees of freedom from which on a covariance
// counts as known exactly.
const exactlyKnown = 1e4

// block returns the clean set's part of the covariance and of the differences.
func (c *comparison) block(clean []int) (*mat.SymDense, *mat.VecDense) {
	n := len(clean)
	sub, d := mat.NewSymDense(3*n, nil), mat.NewVecDense(3*n, nil)
	for k, i := range clean {
		for a := range 3 {
			d.SetVec(3*k+a, c.d[3*i+a])
		}
		for l, j := range clean {
			magmath.AddBlock(sub, 3*k, 3*l, magmath.Block(c.v, 3*i, 3*j))
		}
	}
	return sub, d
}

// leftOut returns the departure of member k of the clean set from its prediction
// by the other members, and its covariance.
func (c *comparison) leftOut(q *mat.SymDense, clean []int, k int) (r3.Vec, magmath.Mat3) {
	var qd [3]float64
	for a := range 3 {
		for l, j := range clean {
			for b := range 3 {
				qd[a] += q.At(3*k+a, 3*l+b) * c.d[3*j+b]
			}
		}
	}
	cov, ok := magmath.Block(q, 3*k, 3*k).Inverse()
	if !ok {
		return r3.Vec{}, magmath.Mat3{}
	}
	return cov.Apply(r3.Vec{X: qd[0], Y: qd[1], Z: qd[2]}), cov
}

// outside returns the departure of station i from its prediction by the clean set,
// and its covariance.
func (c *comparison) outside(q *mat.SymDense, clean []int, i int) (r3.Vec, magmath.Mat3) {
	cov := magmath.Block(c.v, 3*i, 3*i)
	diff := [3]float64{c.d[3*i], c.d[3*i+1], c.d[3*i+2]}
	if len(clean) > 0 {
		n := 3 * len(clean)
		across, d := mat.NewDense(3, n, nil), mat.NewVecDense(n, nil)
		for l, j := range clean {
			for b := range 3 {
				d.SetVec(3*l+b, c.d[3*j+b])
				for a := range 3 {
					across.Set(a, 3*l+b, c.v.At(3*i+a, 3*j+b))
				}
			}
		}
		var weight, shared mat.Dense
		weight.Mul(across, q)
		shared.Mul(&weight, across.T())
		for a := range 3 {
			diff[a] -= mat.Dot(weight.RowView(a), d)
			for b := range 3 {
				cov[a][b] -= (shared.At(a, b) + shared.At(b, a)) / 2
			}
		}
	}
	return r3.Vec{X: diff[0], Y: diff[1], Z: diff[2]}, cov
}

// discoveries marks the hypotheses to reject so that the expected share of false
// rejections among them is at most q: in rising order of the p-values, all up to
// the last with p_(k) <= q k/n. A NaN is never rejected.
//
// The bound holds for independent tests and for positively dependent ones.
// Stations share the errors of room and drift, but each is tested against its
// prediction from the others, which removes the shared part. For the rest,
// two-sided tests of correlated normals stay under the bound in every published
// simulation and in ours.
//
// Source: Y. Benjamini, Y. Hochberg (1995), Controlling the false discovery
// rate, Journal of the Royal Statistical Society B 57, 289-300; Y. Benjamini,
// D. Yekutieli (2001), Annals of Statistics 29, 1165-1188, for dependence;
// A. Reiner-Benaim (2007), FDR control by the BH procedure for two-sided
// correlated tests, Biometrical Journal 49, 107-126.
func discoveries(p []float64, q float64) []bool {
	out := make([]bool, len(p))
	order := make([]int, 0, len(p))
	for i, v := range p {
		if !math.IsNaN(v) {
			order = append(order, i)
		}
	}
	slices.SortStableFunc(order, func(i, j int) int { return cmp.Compare(p[i], p[j]) })
	last := -1
	for k, i := range order {
		if p[i] <= q*float64(k+1)/float64(len(order)) {
			last = k
		}
	}
	for _, i := range order[:last+1] {
		out[i] = true
	}
	return out
}
