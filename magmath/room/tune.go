package room

import (
	"context"
	"math"
)

// A scale is one hyperparameter that Solve estimates, with its log-normal
// prior: the standard deviation of the logarithm.
type scale struct {
	at       func(*Hyper) *float64
	logPrior float64
}

// scales returns the estimated scales: pose is known to a factor of two
// beforehand, place to one and a half (only steep gradients say anything about
// it), drift and roughness to a factor of three.
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
