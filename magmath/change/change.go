// Package change tells a real change of a craft from what two surveys of it
// differ by anyway. Its input are the differences, after less before, of a
// vector quantity at the same stations, with their joint covariance.
//
// Two things that are no change of the craft explain part of any difference
// and are taken out first, each with a prior: a change common to all stations
// (another room, another offset of the probe) and a small turn common to all
// (the probe held a few degrees round from last time), which changes each
// station's vector d by t x d. With
//
//	D = H u + c + e,  e ~ N(0, C),  u ~ N(0, P),
//
// D of stations that did not change is N(0, V), V = C + H P H^T, and what the
// others say of a station is a conditional normal distribution. Each station
// is tested against it: the squared Mahalanobis distance is chi-square with
// three degrees of freedom where nothing changed. Stations that did change
// must not speak for others: the tests rest on a clean set, grown from the
// half of the stations that agree best.
//
// A change that is alike everywhere goes into the common part and cannot be
// seen; nor can one that is a turn of everything.
//
// Craft frame, millimetres, microtesla, degrees.
//
// Source: N. Billor, A. S. Hadi, P. F. Velleman (2000), BACON: blocked
// adaptive computationally efficient outlier nominators, Computational
// Statistics and Data Analysis 34, 279-298, for growing a clean set.
package change

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Errors that callers distinguish.
var (
	ErrNoStations = errors.New("no station was measured both times: there is nothing to compare")
	ErrShape      = errors.New("vectors and covariance do not match in number")
	ErrNotFinite  = errors.New("a difference holds a value that is not finite")
	ErrSingular   = errors.New("the covariance of the differences is not positive definite")
)

// Data are the differences of two surveys.
type Data struct {
	Diff   []r3.Vec      // after less before, microtesla
	Before []r3.Vec      // what a turn of the probe acts on, microtesla
	Cov    *mat.SymDense // of Diff, three rows a station, microtesla squared
	// Freedom is how well each station's covariance is known: the degrees of
	// freedom of an estimate as good, as of the GUM's G.4. Nil: exactly known.
	Freedom []float64
}

// Options hold the priors and what is called significant. The zero value
// means DefaultOptions.
type Options struct {
	UniformUT float64 // prior standard deviation of the common change, a component
	TurnDeg   float64 // prior standard deviation of the common turn, about each axis
	// FalseDiscovery bounds the expected share of false alarms among the
	// stations that are called changed.
	FalseDiscovery float64
}

// DefaultOptions: rooms and offsets that differ by 3 uT, a probe held 5
// degrees round, one false alarm in twenty. Common practice, no source.
func DefaultOptions() Options { return Options{UniformUT: 3, TurnDeg: 5, FalseDiscovery: 0.05} }

func (o Options) withDefaults() Options {
	d := DefaultOptions()
	for _, f := range []struct {
		v *float64
		d float64
	}{{&o.UniformUT, d.UniformUT}, {&o.TurnDeg, d.TurnDeg}, {&o.FalseDiscovery, d.FalseDiscovery}} {
		if !(*f.v > 0) {
			*f.v = f.d
		}
	}
	return o
}

// Station is what is left of a station's difference.
type Station struct {
	Change      r3.Vec       // beyond what the common part and the other stations' errors predict, microtesla
	Cov         magmath.Mat3 // of Change where nothing changed
	ChiSquare   float64      // Change's squared Mahalanobis distance from none
	P           float64      // probability of a larger one where nothing changed
	Significant bool
	Clean       bool // it was one of those that the common part rests on
}

// Common is what explains part of every difference.
type Common struct {
	UniformUT  r3.Vec
	UniformCov magmath.Mat3
	TurnDeg    r3.Vec // about x, y, z; the angles are small and add
	TurnCov    magmath.Mat3
	Stations   int // the clean set's size
}

// At is what the common part makes of a vector.
func (c Common) At(before r3.Vec) r3.Vec {
	return r3.Add(c.UniformUT, r3.Cross(r3.Scale(math.Pi/180, c.TurnDeg), before))
}

// Result is a comparison.
type Result struct {
	Stations []Station
	Common   Common
	// Overall tests the differences at once for no change at any station: it
	// sees a small change spread over many. Stations whose covariance is hardly
	// known (fewer than ten degrees of freedom) are left out.
	OverallChiSquare float64
	OverallFreedom   int
	OverallP         float64
	// Changed is whether any station is significant, or the differences as a
	// whole are at the hundredth.
	Changed bool

	c *comparison
}

func (d Data) check() error {
	n := len(d.Diff)
	if n == 0 {
		return ErrNoStations
	}
	if len(d.Before) != n || d.Cov == nil || d.Cov.SymmetricDim() != 3*n || (d.Freedom != nil && len(d.Freedom) != n) {
		return ErrShape
	}
	for i := range n {
		if !magmath.FiniteVec(d.Diff[i]) || !magmath.FiniteVec(d.Before[i]) {
			return fmt.Errorf("station %d of %d: %w", i+1, n, ErrNotFinite)
		}
	}
	for i := range 3 * n {
		for j := range i + 1 {
			if v := d.Cov.At(i, j); v-v != 0 {
				return fmt.Errorf("covariance of station %d of %d: %w", i/3+1, n, ErrNotFinite)
			}
		}
	}
	return nil
}

// Compare tests every station. Differences must be finite and Cov positive
// definite, or nearly so. One station can be compared too: the priors alone
// then say what is common. It keeps no reference to d.
func Compare(d Data, o Options) (*Result, error) {
	if err := d.check(); err != nil {
		return nil, err
	}
	o = o.withDefaults()
	c := newComparison(d, o)
	clean, tests, err := c.settle()
	if err != nil {
		return nil, err
	}
	r := &Result{Stations: tests, c: c}
	for _, i := range clean {
		r.Stations[i].Clean = true
	}
	p := make([]float64, len(tests))
	for i, t := range tests {
		p[i] = t.P
	}
	for i, s := range discoveries(p, o.FalseDiscovery) {
		r.Stations[i].Significant = s
		r.Changed = r.Changed || s
	}
	if r.Common, err = c.common(clean, o); err != nil {
		return nil, err
	}
	return r, r.overall()
}
