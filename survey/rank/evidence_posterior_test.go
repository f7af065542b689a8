package rank

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/magmath/siting"
	"quietmount/survey/evaluate"
	"quietmount/survey/sim/builtcraft"
)

// posteriorDraws is the number of draws of one place's posterior.
const posteriorDraws = 400

// strongH is a factor of H that makes the compass point somewhere at every place, so that
// errors differ where all are 180 degrees else. It leaves their order as it is.
const strongH = 1000

// below returns for each place the share of the posterior's draws that are below its true
// error at one slip of the hand. The draws are made here, from the maps.
func (e *examined) below(places []siting.Place) []float64 {
	s, strong := e.r.s, *e.t
	strong.hUT *= strongH
	out := make([]float64, len(places))
	for i, on := range s.m.Loads(s.sensors(places)) {
		truth := strong.error(e.setDown(places[i]))
		for _, v := range posterior(s.m, on, strongH, e.rng) {
			if v < truth {
				out[i]++
			}
		}
		out[i] /= posteriorDraws
	}
	return out
}

// posterior draws heading errors as mounted, degrees, from what is said of the loads at a
// place, with H times a factor.
func posterior(m *evaluate.Mounted, on []heading.Load, factor float64, rng *rand.Rand) []float64 {
	roots := make([]mat.EigenSym, len(on))
	for l, load := range on {
		c := mat.NewSymDense(3, nil)
		for i := range 3 {
			for j := i; j < 3; j++ {
				c.SetSym(i, j, load.Cov[i][j])
			}
		}
		roots[l].Factorize(c, true)
	}
	out, d := make([]float64, posteriorDraws), make([]r3.Vec, len(on))
	for i := range out {
		slip := rng.IntN(heading.SlipPlaces)
		for l, load := range on {
			var v mat.Dense
			roots[l].VectorsTo(&v)
			d[l] = load.Mean
			if len(load.Slip) > 0 {
				d[l] = r3.Add(d[l], load.Slip[slip])
			}
			for k, variance := range roots[l].Values(nil) {
				z := math.Sqrt(max(0, variance)) * rng.NormFloat64()
				d[l] = r3.Add(d[l], r3.Scale(z, r3.Vec{X: v.At(0, k), Y: v.At(1, k), Z: v.At(2, k)}))
			}
		}
		h := factor * (m.HUT + m.HSDUT*rng.NormFloat64())
		for _, combo := range m.Combos {
			var sum r3.Vec
			for _, l := range combo {
				if l < 0 {
					sum = r3.Sub(sum, d[heading.Loaded(l)])
				} else {
					sum = r3.Add(sum, d[l])
				}
			}
			out[i] = max(out[i], builtcraft.WorstError(sum, h, m.TiltDeg))
		}
	}
	return out
}

// The draws of posterior are those that the bounds are taken from: 95 % of them lie below
// the bound of a place, a half below its estimate.
func TestPosteriorIsThatOfTheBounds(t *testing.T) {
	e, ok := row{Kind: builtcraft.Ordinary}.examine(t, 2)
	if !ok {
		t.Fatal("nothing to mount on")
	}
	var places []siting.Place
	for k := 0; k < len(e.r.free); k += 1 + len(e.r.free)/25 {
		places = append(places, e.nodes[e.r.free[k]].Place)
	}
	half, most := 0.0, 0.0
	scores := e.r.s.shiftingOf(places)
	for i, on := range e.r.s.m.Loads(e.r.s.sensors(places)) {
		for _, v := range posterior(e.r.s.m, on, 1, e.rng) {
			if v <= scores[i].Shifting.Estimate {
				half++
			}
			if v <= scores[i].Shifting.Upper95 {
				most++
			}
		}
	}
	n := float64(posteriorDraws * len(places))
	if sd := math.Sqrt(n); math.Abs(half-0.5*n) > 2*sd || math.Abs(most-0.95*n) > 0.9*sd { // four standard errors
		t.Errorf("%.3f of the draws lie below the estimates, %.3f below the bounds", half/n, most/n)
	}
}
