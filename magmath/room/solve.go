package room

import (
	"context"
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/blas"
	"gonum.org/v1/gonum/blas/blas64"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

var errSingular = errors.New("the normal equations cannot be solved: a covariance is not positive definite")

// problem is the part of the task that does not depend on the hyperparameters.
type problem struct {
	obs      []Observation
	stations []Station
	offsets  map[int]float64
	lay      *layout
	global   [][]column // of each observation
	local    [][]column
}

func newProblem(obs []Observation, stations []Station, offsets map[int]float64) (*problem, error) {
	if len(obs) == 0 {
		return nil, ErrEmpty
	}
	for i, o := range obs {
		if o.Station < 0 || o.Station >= len(stations) {
			return nil, fmt.Errorf("capture %d names station %d of %d", i+1, o.Station, len(stations))
		}
		finite := magmath.FiniteVec(o.B) && magmath.FiniteVec(o.At) && o.Cov.Finite() && o.Gradient.Finite()
		if s := o.TS + o.Level; !finite || math.IsNaN(s) || math.IsInf(s, 0) {
			return nil, fmt.Errorf("capture %d: %w", i+1, ErrNotFinite)
		}
	}
	p := &problem{obs: obs, stations: stations, offsets: offsets, lay: lay(obs, len(stations))}
	for _, o := range obs {
		p.global = append(p.global, p.lay.global(o))
		p.local = append(p.local, p.lay.local(o))
	}
	return p, nil
}

// block is a station's own part of the normal equations after elimination.
type block struct {
	chol mat.Cholesky  // of the station's own information U^T U
	own  *mat.VecDense // inverse of that information times the right-hand side
	half *mat.Dense    // U^-T times the coupling to the shared unknowns; nil without any
	inv  *mat.SymDense // the inverse; nil before finish, as is link
	link *mat.Dense    // the inverse times the coupling
}

// solution is the posterior under one set of hyperparameters.
type solution struct {
	blocks   []block
	chol     mat.Cholesky  // of the information on the shared unknowns
	mean     *mat.VecDense // of the shared unknowns
	cov      *mat.SymDense // likewise; nil before finish
	logDens  float64       // log marginal likelihood
	quadForm float64       // y^T (R + H P H^T)^-1 y
}

// normal are the normal equations before elimination.
type normal struct {
	gg, gr   []float64 // shared: matrix (row by row; its upper triangle counts) and right-hand side
	ll, lr   [][]float64
	lg       [][]float64
	yy       float64 // y^T R^-1 y
	logNoise float64 // log |R| + log |P|
}

// solve eliminates the stations one by one (their own unknowns touch only
// their own captures), then solves for what is shared. The solution has its
// density, not yet the covariances: see finish.
func (p *problem) solve(h Hyper) (*solution, error) {
	n, err := p.assemble(h)
	if err != nil {
		return nil, err
	}
	g := p.lay.globals
	s := &solution{blocks: make([]block, len(p.stations)), quadForm: n.yy}
	logDet := 0.0
	for i := range p.stations {
		m := 3 * len(p.lay.parts[i])
		if m == 0 {
			continue
		}
		b, ld, err := eliminate(n, i, m, g)
		if err != nil {
			return nil, err
		}
		s.blocks[i] = b
		logDet += ld
		s.quadForm -= mat.Dot(b.own, mat.NewVecDense(m, n.lr[i]))
	}
	if g > 0 {
		if !s.chol.Factorize(mat.NewSymDense(g, n.gg)) {
			return nil, errSingular
		}
		rhs := mat.NewVecDense(g, n.gr)
		s.mean = new(mat.VecDense)
		if s.chol.SolveVecTo(s.mean, rhs) != nil {
			return nil, errSingular
		}
		logDet += s.chol.LogDet()
		s.quadForm -= mat.Dot(s.mean, rhs)
	}
	count := float64(3 * len(p.obs))
	s.logDens = -0.5 * (s.quadForm + n.logNoise + logDet + count*math.Log(2*math.Pi))
	return s, nil
}

func (p *problem) assemble(h Hyper) (*normal, error) {
	g := p.lay.globals
	n := &normal{gg: make([]float64, g*g), gr: make([]float64, g)}
	for k, v := range p.lay.priorVariance(h, p.offsets) {
		n.gg[k*g+k] = 1 / v
		n.logNoise += math.Log(v)
	}
	for i, parts := range p.lay.parts {
		m := 3 * len(parts)
		n.ll = append(n.ll, make([]float64, m*m))
		n.lr = append(n.lr, make([]float64, m))
		n.lg = append(n.lg, make([]float64, m*g))
		for k := range m {
			v := p.localVariance(i, parts[k/3], h)
			n.ll[i][k*m+k] = 1 / v
			n.logNoise += math.Log(v)
		}
	}
	for i, o := range p.obs {
		w, ld, ok := invert(o.Noise(h))
		if !ok {
			return nil, fmt.Errorf("capture %d: %w", i+1, errSingular)
		}
		n.logNoise += ld
		n.yy += r3.Dot(o.B, w.Apply(o.B))
		m := 3 * len(p.lay.parts[o.Station])
		accumulate(n.gg, g, p.global[i], p.global[i], w)
		accumulate(n.ll[o.Station], m, p.local[i], p.local[i], w)
		accumulate(n.lg[o.Station], g, p.local[i], p.global[i], w)
		wb := w.Apply(o.B)
		for _, c := range p.global[i] {
			n.gr[c.index] += r3.Dot(c.v, wb)
		}
		for _, c := range p.local[i] {
			n.lr[o.Station][c.index] += r3.Dot(c.v, wb)
		}
	}
	return n, nil
}

func (p *problem) localVariance(station int, q part, h Hyper) float64 {
	sd := WidePriorUT
	switch prior := p.stations[station].PriorUT; {
	case q == partRough:
		sd = h.RoughUT
	case prior > 0:
		sd = prior
	}
	return sd * sd
}

// accumulate adds rows^T w cols to the matrix a of the given row length.
func accumulate(a []float64, stride int, rows, cols []column, w magmath.Mat3) {
	for _, r := range rows {
		v := w.Apply(r.v)
		for _, c := range cols {
			a[r.index*stride+c.index] += r3.Dot(v, c.v)
		}
	}
}

// eliminate removes station i from n's shared equations (Schur complement)
// and returns what is needed to recover it, with the log determinant.
func eliminate(n *normal, i, m, g int) (block, float64, error) {
	b := block{own: new(mat.VecDense)}
	rhs := mat.NewVecDense(m, n.lr[i])
	if !b.chol.Factorize(mat.NewSymDense(m, n.ll[i])) || b.chol.SolveVecTo(b.own, rhs) != nil {
		return block{}, 0, errSingular
	}
	if g == 0 {
		return b, b.chol.LogDet(), nil
	}
	// With lg the coupling, what is dropped, lg^T (U^T U)^-1 lg, is half^T half.
	blas64.Gemv(blas.Trans, -1, blas64.General{Rows: m, Cols: g, Stride: g, Data: n.lg[i]}, b.own.RawVector(), 1, blas64.Vector{N: g, Data: n.gr, Inc: 1})
	b.half = mat.NewDense(m, g, n.lg[i])
	half := b.half.RawMatrix()
	blas64.Trsm(blas.Left, blas.Trans, 1, b.upper(), half)
	blas64.Syrk(blas.Trans, -1, half, 1, blas64.Symmetric{Uplo: blas.Upper, N: g, Stride: g, Data: n.gg})
	return b, b.chol.LogDet(), nil
}

// upper returns U of the station's own information U^T U.
func (b *block) upper() blas64.Triangular {
	return b.chol.RawU().(mat.RawTriangular).RawTriangular()
}

// finish works out the covariances of a solution: many are compared by their
// densities, and those of one are wanted.
func (s *solution) finish() error {
	for i := range s.blocks {
		b := &s.blocks[i]
		if b.own == nil {
			continue
		}
		b.inv = new(mat.SymDense)
		if b.chol.InverseTo(b.inv) != nil {
			return errSingular
		}
		if b.half != nil {
			b.link = b.half // U^-1 half takes its place
			blas64.Trsm(blas.Left, blas.NoTrans, 1, b.upper(), b.link.RawMatrix())
			b.half = nil
		}
	}
	if s.mean == nil {
		return nil
	}
	s.cov = new(mat.SymDense)
	if s.chol.InverseTo(s.cov) != nil {
		return errSingular
	}
	return nil
}

// PoseCov returns the covariance of a vector of mean b due to an attitude
// uncertain by sigmaDeg about every axis: sigma^2 [b]x [b]x^T, to first order in
// the angle. It has no part along b and is zero for b = 0.
func PoseCov(b r3.Vec, sigmaDeg float64) magmath.Mat3 {
	s := sigmaDeg * math.Pi / 180
	c := magmath.Cross(b)
	return c.Mul(c.Transpose()).Scale(s * s)
}

// PlaceCov returns the covariance of a field of gradient j (uT per mm) due to a
// place uncertain by sigmaMM along every axis: sigma^2 j j^T.
func PlaceCov(j magmath.Mat3, sigmaMM float64) magmath.Mat3 {
	return j.Mul(j.Transpose()).Scale(sigmaMM * sigmaMM)
}

// Noise returns the whole covariance of one observation under h.
func (o Observation) Noise(h Hyper) magmath.Mat3 {
	n := o.Cov.Add(PoseCov(o.B, h.PoseDeg)).Add(PlaceCov(o.Gradient, h.PlaceMM))
	floor := 1e-6 // (1 nT)^2: keeps a noiseless reading invertible
	return n.Add(magmath.Diagonal(floor, floor, floor))
}

// invert returns the inverse and the logarithm of the determinant of the symmetric
// positive definite m; ok is false where m is not.
func invert(m magmath.Mat3) (inv magmath.Mat3, logDet float64, ok bool) {
	inv, ok = m.Inverse()
	return inv, math.Log(m.Det()), ok && m.Positive()
}

// A scale is one hyperparameter that Solve estimates, with its log-normal
// prior: the standard deviation of the logarithm.
type scale struct {
	at       func(*Hyper) *float64
	logPrior float64
}

// scales returns the estimated scales: pose is known to a factor of two
// beforehand, place to one and a half (only steep gradients determine it), drift
// and roughness to a factor of three.
func scales() []scale {
	return []scale{
		{func(h *Hyper) *float64 { return &h.PoseDeg }, math.Log(2)},
		{func(h *Hyper) *float64 { return &h.WalkUT }, math.Log(3)},
		{func(h *Hyper) *float64 { return &h.RoughUT }, math.Log(3)},
		{func(h *Hyper) *float64 { return &h.PlaceMM }, math.Log(1.5)},
	}
}

// tune climbs the posterior density of the hyperparameters by a pattern
// search in their logarithms, coarse to fine. The error is also that of ctx.
func (p *problem) tune(ctx context.Context, prior Hyper) (Hyper, *solution, error) {
	best := prior
	sol, err := p.solve(best)
	if err != nil {
		return best, nil, err
	}
	top := sol.logDens
	for _, step := range []float64{0.6, 0.3, 0.15} {
		for _, s := range scales() {
			for _, dir := range []float64{step, -step} {
				for range 3 {
					if err := ctx.Err(); err != nil {
						return best, nil, err
					}
					h := best
					*s.at(&h) *= math.Exp(dir)
					next, err := p.solve(h)
					if err != nil {
						break
					}
					density := next.logDens + logPrior(h, prior)
					if density <= top {
						break
					}
					best, sol, top = h, next, density
				}
			}
		}
	}
	return best, sol, nil
}

// logPrior returns the log density of h under the priors centred at c, up to a
// constant.
func logPrior(h, c Hyper) float64 {
	sum := 0.0
	for _, s := range scales() {
		z := math.Log(*s.at(&h) / *s.at(&c)) / s.logPrior
		sum -= z * z / 2
	}
	return sum
}
