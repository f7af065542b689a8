// Package change finds the real changes of a craft between two surveys. What
// comes in are the differences, after minus before, of a vector quantity at the
// same stations, with their joint covariance; what goes out is a test of each
// station and of all together.
//
// Start reading at Compare.
//
// Two parts of the differences are no change of the craft and are estimated with
// a prior and removed: a change common to all stations (another room, another
// offset of the probe), and a small rotation t common to all (the probe was
// mounted a few degrees otherwise), which changes each station's vector d by
// t x d. With
//
//	D = H u + c + e,  e ~ N(0, C),  u ~ N(0, P),
//
// D of stations that did not change is N(0, V), V = C + H P H^T. Each station is
// tested against its conditional distribution given the others: the squared
// Mahalanobis distance is chi-square with three degrees of freedom where nothing
// changed. Stations that did change must not count for others: the tests rest on
// a clean set, grown from the half of the stations that agree best.
//
// A hand misses the mark by far now and then, which changes the difference at one
// station along the field's own gradient: c is drawn from a mixture, with such a slip
// or without. What is spread over many stations, as a source under them does it, is
// found by an overall test.
//
// A change that is the same everywhere, or a rotation of everything, is taken for
// the common part and cannot be found.
//
// Craft frame, millimetres, microtesla, degrees.
//
// Source: N. Billor, A. S. Hadi, P. F. Velleman (2000), BACON: blocked
// adaptive computationally efficient outlier nominators, Computational
// Statistics and Data Analysis 34, 279-298, for growing a clean set.
package change

import (
	"context"
	"errors"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// ErrNoStations is returned if there is nothing to compare.
var ErrNoStations = errors.New("no station was measured both times: there is nothing to compare")

// Data are the differences of two surveys.
type Data struct {
	Diff   []r3.Vec      // after minus before, microtesla
	Before []r3.Vec      // the vectors that a rotation of the probe acts on, microtesla
	Cov    *mat.SymDense // of Diff, three rows a station, microtesla squared
	// Freedom is the degrees of freedom of each station's covariance (GUM, G.4). Nil:
	// the covariances are known exactly.
	Freedom []float64
	// Slips are the covariances that one long slip adds to the difference of each
	// station: the probe stood beside the mark by far more than the hand's ordinary
	// scatter, which Cov has, on one of the two occasions. Nil: hands never slip.
	Slips []magmath.Mat3
	At    []r3.Vec // places, mm, for the overall test; nil: there is none
}

// Options hold the priors and the level of significance. A value that is not
// positive means the default.
type Options struct {
	UniformUT float64 // prior standard deviation of the common change, each component; default 3
	TurnDeg   float64 // prior standard deviation of the common rotation, about each axis; default 5
	SlipShare float64 // share of the differences that hold a long slip; default 0.1
	// FalseDiscovery is the largest expected share of false alarms among the
	// significant stations; default FalseDiscovery.
	FalseDiscovery float64
}

// FalseDiscovery is the default of Options.FalseDiscovery. With overallP it keeps
// false alarms under one survey in twenty.
const FalseDiscovery = 0.03

// withDefaults replaces what is not positive: rooms and offsets that differ by
// 3 uT, a probe turned by 5 degrees, a long slip of the hand in one of twenty
// settings-down, of which a difference has two. Common practice, no source.
func (o Options) withDefaults() Options {
	or := func(v, otherwise float64) float64 {
		if v > 0 {
			return v
		}
		return otherwise
	}
	return Options{UniformUT: or(o.UniformUT, 3), TurnDeg: or(o.TurnDeg, 5), SlipShare: or(o.SlipShare, 0.1), FalseDiscovery: or(o.FalseDiscovery, FalseDiscovery)}
}

// Station is the test of one station.
type Station struct {
	Change      r3.Vec       // difference minus its prediction from the clean set, microtesla
	Cov         magmath.Mat3 // of Change if nothing changed
	Slip        bool         // an ordinary hand does not explain Change, but a long slip does
	ChiSquare   float64      // squared Mahalanobis distance of Change from zero
	P           float64      // probability of a larger one if nothing changed
	Significant bool
	Clean       bool // a member of the clean set, on which the common part rests
}

// Common is the part of the differences common to all stations.
type Common struct {
	UniformUT  r3.Vec
	UniformCov magmath.Mat3
	TurnDeg    r3.Vec // about x, y, z; small angles
	TurnCov    magmath.Mat3
	Stations   int // the clean set's size
}

// At returns the common part of the difference at a station whose vector was
// before.
func (c Common) At(before r3.Vec) r3.Vec {
	return r3.Add(c.UniformUT, r3.Cross(r3.Scale(math.Pi/180, c.TurnDeg), before))
}

// Result is a comparison.
type Result struct {
	Stations []Station
	Common   Common
	// OverallP is the p-value of the test of no change at any station for a change
	// spread over many; NaN without places.
	OverallP float64
	// Changed reports whether any station is significant or OverallP is below 0.02.
	Changed bool

	c *comparison
}

// check returns what Compare does about data that it cannot use.
func (d Data) check() error {
	if len(d.Diff) == 0 {
		return ErrNoStations
	}
	n := len(d.Diff)
	for _, other := range []int{len(d.Freedom), len(d.Slips), len(d.At)} {
		if other != 0 && other != n {
			return magmath.ErrShape
		}
	}
	return magmath.Readings{At: d.Before, B: d.Diff, Noise: d.Cov}.Check()
}

// Compare tests every station. Of a single station the priors alone decide what
// is common. It does not modify d, which may be modified afterwards. The errors are ErrNoStations, those of magmath.Readings.Check
// and magmath.ErrSingular.
func Compare(ctx context.Context, d Data, o Options) (*Result, error) {
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
		r.Stations[i].Slip = r.Stations[i].Slip && !s
		r.Changed = r.Changed || s
	}
	if r.Common, err = c.common(clean, o); err != nil {
		return nil, err
	}
	return r, r.overall(d.At)
}
