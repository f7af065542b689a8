package calib

import (
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Candidate is what one number of parameters would lead to: the error of the
// corrected field across its own direction, root mean square over the
// attitudes to be flown, in microtesla. Along the field an error changes no
// direction.
type Candidate struct {
	Parameters int
	NoiseUT    float64 // from the noise of the readings
	LeftOutUT  float64 // from what is not fitted, under the prior
	TotalUT    float64
}

// nAll is offset and six shapes.
const nAll = 3 + nShapes

// design is what the readings tell about all nine parameters, whichever are
// fitted in the end.
type design struct {
	info  *mat.SymDense // J^T J of the residuals in microtesla
	score *mat.SymDense // J^T R J with the correlation R of their noise; nil: white
	noise float64       // variance of that noise, robust loss included
	prior [nShapes]float64
}

// designOf takes the derivatives at a fit for all nine parameters; every
// reading counts as it would in the fit.
func designOf(f *fit, x []r3.Vec, noise float64, prior [nShapes]float64) design {
	d := design{info: mat.NewSymDense(nAll, nil), noise: noise, prior: prior}
	m := f.matrix()
	var sum [nAll][nAll]float64
	grad := make([]float64, nAll)
	for i, v := range x {
		if f.weight[i] == 0 {
			continue
		}
		q := see(m, f.o, v)
		q.derivatives(m, f.o, v, f.target, grad)
		for a := range nAll {
			for b := a; b < nAll; b++ {
				sum[a][b] += grad[a] * grad[b]
			}
		}
	}
	for a := range nAll {
		for b := a; b < nAll; b++ {
			d.info.SetSym(a, b, sum[a][b])
		}
	}
	return d
}

// errorsOf splits the covariance of the error in all nine parameters into what
// noise gives and what comes of leaving the shapes beyond the first
// parameters-3 at zero. With the kept k and the left out l the kept absorb
//
//	I_kk^-1 I_kl e_l
//
// of what is left out (Gauss-Markov with a wrong model; e.g. Seber and Lee
// 2003, Linear Regression Analysis, sec. 9.2, from memory). ok is false where
// the readings do not tell the kept apart.
func (d design) errorsOf(parameters int) (noise, leftOut *mat.SymDense, ok bool) {
	k := parameters
	kept := d.info.SliceSym(0, k)
	var c mat.Cholesky
	if !c.Factorize(kept) || c.Cond() > 1e15 {
		return nil, nil, false
	}
	var inverse mat.SymDense
	if err := c.InverseTo(&inverse); err != nil {
		return nil, nil, false
	}
	byNoise := &inverse
	if d.score != nil {
		byNoise = covarianceOf(&inverse, d.score)
	}
	noise = mat.NewSymDense(nAll, nil)
	for i := range k {
		for j := i; j < k; j++ {
			noise.SetSym(i, j, d.noise*byNoise.At(i, j))
		}
	}
	leftOut = mat.NewSymDense(nAll, nil)
	for l := k; l < nAll; l++ {
		t := make([]float64, nAll)
		for i := range k {
			for j := range k {
				t[i] += inverse.At(i, j) * d.info.At(j, l)
			}
		}
		t[l] = -1
		leftOut.SymRankOne(leftOut, d.prior[l-3], mat.NewVecDense(nAll, t))
	}
	return noise, leftOut, true
}

// acrossOf is the matrix W with e^T W e the mean square over the attitudes of
// the error across the field that an error e in the nine parameters makes.
func acrossOf(m magmath.Mat3, target float64, attitudes []r3.Vec) *mat.SymDense {
	w := mat.NewSymDense(nAll, nil)
	inverse, _ := m.Inverse() // its determinant is far from zero
	for _, u := range attitudes {
		var cols [nAll]r3.Vec
		raw := inverse.Apply(r3.Scale(target, u))
		for k := range 3 {
			cols[k] = r3.Scale(-1, column(m, k))
		}
		for j, b := range shapes {
			cols[3+j] = b.Apply(raw)
		}
		for k, c := range cols {
			cols[k] = r3.Sub(c, r3.Scale(r3.Dot(c, u), u))
		}
		for i := range nAll {
			for j := i; j < nAll; j++ {
				w.SetSym(i, j, w.At(i, j)+r3.Dot(cols[i], cols[j])/float64(len(attitudes)))
			}
		}
	}
	return w
}

func column(m magmath.Mat3, k int) r3.Vec { return r3.Vec{X: m[0][k], Y: m[1][k], Z: m[2][k]} }

// product is the trace of a b for a and b without negative eigenvalues:
// rounding may leave it a hair below zero.
func product(a, b *mat.SymDense) float64 { return max(traceOf(a, b), 0) }

// candidates prices 3, 4, 6 and 9 parameters. What cannot be told apart at all
// has infinite errors.
func (d design) candidates(across *mat.SymDense) []Candidate {
	out := make([]Candidate, 0, 4)
	for _, k := range [4]int{3, 4, 6, 9} {
		c := Candidate{Parameters: k, NoiseUT: math.Inf(1), LeftOutUT: math.Inf(1), TotalUT: math.Inf(1)}
		if noise, leftOut, ok := d.errorsOf(k); ok {
			a, b := product(noise, across), product(leftOut, across)
			c.NoiseUT, c.LeftOutUT, c.TotalUT = math.Sqrt(a), math.Sqrt(b), math.Sqrt(a+b)
		}
		out = append(out, c)
	}
	return out
}

// bestOf is the candidate with the smallest total; the fewer parameters where
// two differ by less than two standard errors of a standard deviation with
// that many degrees of freedom.
func bestOf(candidates []Candidate, dof float64) Candidate {
	same := 1 - math.Sqrt2/math.Sqrt(max(dof, 9))
	best := candidates[0]
	for _, c := range candidates[1:] {
		if c.TotalUT < same*best.TotalUT || math.IsInf(best.TotalUT, 1) {
			best = c
		}
	}
	return best
}
