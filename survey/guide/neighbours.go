package guide

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// place is a station with the field captured there, craft frame, less what an
// earlier run gives for it where there is one.
type place struct {
	name    string
	at      r3.Vec
	b       r3.Vec
	prior   r3.Vec
	capture int
}

// places are the stations captured so far, the latest capture of each, the
// base apart. With an earlier run, only stations that it knows are of use.
func (w *Walk) places() []place {
	latest := map[string]place{}
	for _, c := range w.captures {
		prior, known := w.prior(c.Station)
		if c.Void != "" || c.Visit == survey.VisitBase || !known {
			continue
		}
		latest[c.Station] = place{c.Station, c.At, r3.Sub(c.BUT, prior), prior, c.Number}
	}
	out := make([]place, 0, len(latest))
	for _, p := range latest {
		out = append(out, p)
	}
	slices.SortFunc(out, func(a, b place) int { return cmp.Compare(a.capture, b.capture) })
	return out
}

// prior is the earlier run's field at a station; without an earlier run it is
// nothing, everywhere.
func (w *Walk) prior(station string) (r3.Vec, bool) {
	if len(w.cfg.Prior) == 0 {
		return r3.Vec{}, true
	}
	b, ok := w.cfg.Prior[station]
	return b, ok
}

// local is the field about a place as its neighbours have it: a Gaussian
// process with the Matern 3/2 covariance and an unknown mean, of a scale that
// the neighbours themselves show.
//
// Source: Rasmussen and Williams 2006, Gaussian Processes for Machine
// Learning, eqs. 2.25, 2.26 and 4.17; the leave-one-out residuals, eqs. 5.12.
type local struct {
	from   []place
	inv    *mat.Dense // of the unit covariance
	weight []float64  // inverse times the values, three an entry
	range_ float64    // mm
	scale  float64    // variance of a component, uT^2
}

// How the neighbours are looked at; common practice, no source.
const (
	fewNeighbours  = 5    // under this nothing is said
	mostNeighbours = 24   // nearer ones speak for all
	localNugget    = 0.01 // of the variance: the hand and the mark
	meanVariance   = 100  // of the unknown mean, in variances
)

// newLocal fits the places nearest to at. ok is false where there are too few
// or they cannot be told apart.
func newLocal(places []place, at r3.Vec, noiseUT float64) (l *local, ok bool) {
	near := slices.Clone(places)
	slices.SortStableFunc(near, func(a, b place) int {
		return cmp.Compare(r3.Norm(r3.Sub(a.at, at)), r3.Norm(r3.Sub(b.at, at)))
	})
	near = near[:min(len(near), mostNeighbours)]
	if len(near) < fewNeighbours {
		return nil, false
	}
	l = &local{from: near, range_: 2.5 * meanNearest(near)}
	if !(l.range_ > 0) {
		return nil, false
	}
	if !l.solve() {
		return nil, false
	}
	l.scale = max(l.robustScale(), noiseUT*noiseUT)
	return l, true
}

// meanNearest is the mean way from a place to the one nearest to it.
func meanNearest(p []place) float64 {
	sum := 0.0
	for i := range p {
		best := math.Inf(1)
		for j := range p {
			if i != j {
				best = min(best, r3.Norm(r3.Sub(p[i].at, p[j].at)))
			}
		}
		sum += best
	}
	return sum / float64(len(p))
}

// covariance is the unit covariance between two places, the unknown mean
// included.
func (l *local) covariance(a, b r3.Vec) float64 {
	r := math.Sqrt(3) * r3.Norm(r3.Sub(a, b)) / l.range_
	return (1+r)*math.Exp(-r) + meanVariance
}

func (l *local) solve() bool {
	n := len(l.from)
	k := mat.NewSymDense(n, nil)
	for i := range n {
		for j := i; j < n; j++ {
			k.SetSym(i, j, l.covariance(l.from[i].at, l.from[j].at))
		}
		k.SetSym(i, i, k.At(i, i)+localNugget)
	}
	var chol mat.Cholesky
	if !chol.Factorize(k) {
		return false
	}
	var inv mat.SymDense
	if chol.InverseTo(&inv) != nil {
		return false
	}
	l.inv = mat.DenseCopyOf(&inv)
	l.weight = make([]float64, 3*n)
	for i := range n {
		for j := range n {
			for axis := range 3 {
				l.weight[3*i+axis] += l.inv.At(i, j) * component(l.from[j].b, axis)
			}
		}
	}
	return true
}

// robustScale is the variance of a component as the leave-one-out residuals
// show it, by their upper quartile: a few bold stations count, one wrong one
// does not.
func (l *local) robustScale() float64 {
	u := make([]float64, 0, len(l.weight))
	for i := range l.from {
		sum := 0.0
		for axis := range 3 {
			r := l.weight[3*i+axis]
			sum += r * r / l.inv.At(i, i)
		}
		u = append(u, sum/3)
	}
	slices.Sort(u)
	// The upper quartile of a chi-squared with three degrees of freedom, by
	// three, is 1.37.
	return u[3*len(u)/4] / 1.37
}

// at predicts the field at a place: its mean and the variance of a component,
// a reading's own scatter included.
func (l *local) at(p r3.Vec) (r3.Vec, float64) {
	n := len(l.from)
	k := make([]float64, n)
	var mean [3]float64
	for i := range n {
		k[i] = l.covariance(l.from[i].at, p)
		for axis := range 3 {
			mean[axis] += k[i] * l.weight[3*i+axis]
		}
	}
	used := 0.0
	for i := range n {
		for j := range n {
			used += k[i] * l.inv.At(i, j) * k[j]
		}
	}
	unit := 1 + meanVariance + localNugget - used
	return r3.Vec{X: mean[0], Y: mean[1], Z: mean[2]}, l.scale * max(unit, localNugget)
}
