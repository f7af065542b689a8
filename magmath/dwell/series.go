package dwell

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Series is one dwell: times in seconds and vectors in microtesla, in any one
// frame. No function of this package changes or keeps the slices.
type Series struct {
	TS []float64
	B  []r3.Vec
}

// The faults of a series. ErrNotFinite and ErrBackwards are wrapped in a
// *SampleError.
var (
	ErrNoSamples = errors.New("no samples: wait for the stream, then capture again")
	ErrLengths   = errors.New("times, vectors or labels differ in number")
	ErrNotFinite = errors.New("value is not a finite number: drop the sample at the decoder")
	ErrBackwards = errors.New("time runs backwards: sort the samples or split the capture")
)

// SampleError names the sample of a series that is bad.
type SampleError struct {
	Index int // from 0
	Err   error
}

func (e *SampleError) Error() string { return fmt.Sprintf("sample %d: %v", e.Index+1, e.Err) }

// Unwrap returns the cause.
func (e *SampleError) Unwrap() error { return e.Err }

// Check returns an error if no estimator here can use the series: ErrNoSamples,
// ErrLengths or a *SampleError.
func (s Series) Check() error {
	if len(s.TS) != len(s.B) {
		return fmt.Errorf("%w (%d times, %d vectors)", ErrLengths, len(s.TS), len(s.B))
	}
	if len(s.B) == 0 {
		return ErrNoSamples
	}
	for i, t := range s.TS {
		switch {
		case math.IsNaN(t) || math.IsInf(t, 0) || !magmath.FiniteVec(s.B[i]):
			return &SampleError{i, ErrNotFinite}
		case i > 0 && t < s.TS[i-1]:
			return &SampleError{i, ErrBackwards}
		}
	}
	return nil
}

// Options are what is known of the probe beforehand. The zero value assumes
// nothing.
type Options struct {
	FloorUT      float64 // the probe's own noise, standard deviation of one sample on each axis; 0: unknown
	ResolutionUT float64 // quantisation step; 0: unknown, the smallest step of the samples is taken
}

// valid returns the options with 0 for each value that is negative or not finite.
func (o Options) valid() Options {
	for _, v := range []*float64{&o.FloorUT, &o.ResolutionUT} {
		if !(*v > 0) || math.IsInf(*v, 0) {
			*v = 0
		}
	}
	return o
}

// What is assumed where neither the options nor the samples tell. The step is
// the coarsest of the common module chips (from memory); the other two are
// common practice, no source.
const (
	fallbackStepUT  = 0.3 // step of values that are all alike
	fallbackNoiseUT = 1   // noise of a single sample
	mostStepUT      = 1   // a larger gap between values is not a quantisation step
)

// steps returns the quantisation step of each axis: that of the options, else
// the smallest step of the axis, else that of another axis, else the fallback.
func steps(axes [3]ascending, o Options) [3]float64 {
	if r := o.ResolutionUT; r > 0 {
		return [3]float64{r, r, r}
	}
	var out [3]float64
	smallest := 0.0
	for k := range 3 {
		gap := axes[k].smallestGap()
		if gap > mostStepUT {
			continue
		}
		out[k] = gap
		if gap > 0 && (smallest == 0 || gap < smallest) {
			smallest = gap
		}
	}
	if smallest == 0 {
		smallest = fallbackStepUT
	}
	for k := range 3 {
		if out[k] == 0 {
			out[k] = smallest
		}
	}
	return out
}

// columns returns the components of b as one slice for each axis.
func columns(b []r3.Vec) [3][]float64 {
	flat := make([]float64, 3*len(b))
	n := len(b)
	out := [3][]float64{flat[:n:n], flat[n : 2*n : 2*n], flat[2*n:]}
	for i, v := range b {
		out[0][i], out[1][i], out[2][i] = v.X, v.Y, v.Z
	}
	return out
}

func vec(a [3]float64) r3.Vec   { return r3.Vec{X: a[0], Y: a[1], Z: a[2]} }
func array(v r3.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

// held finds a slow sensor in a fast log, where each reading is sent several
// times. It returns the indices at which the vector changes (the first
// included), the fraction of samples that repeat the one before, and whether
// the repeats are systematic.
//
// Chance repeats of a quiet, coarse sensor have geometric run lengths, of
// variance m(m-1) at mean m; the runs of a held reading differ by one at most.
// Only held readings may be thinned: thinning chance repeats would give a rare
// value the weight of a common one.
func held(b []r3.Vec) (changed []int, fraction float64, systematic bool) {
	changed = append(changed, 0)
	for i := 1; i < len(b); i++ {
		if b[i] != b[i-1] {
			changed = append(changed, i)
		}
	}
	if len(b) < 2 {
		return changed, 0, false
	}
	fraction = 1 - float64(len(changed)-1)/float64(len(b)-1)
	if fraction < 0.25 || len(changed) < 6 {
		return changed, fraction, false
	}
	runs := make([]float64, 0, len(changed)-2)
	for k := 1; k+1 < len(changed); k++ { // the first and last run are cut off
		runs = append(runs, float64(changed[k+1]-changed[k]))
	}
	m, sd := moments(runs)
	return changed, fraction, sd*sd < 0.6*m*(m-1)
}

// pick returns the series at the given indices.
func (s Series) pick(at []int) Series {
	out := Series{make([]float64, len(at)), make([]r3.Vec, len(at))}
	for k, i := range at {
		out.TS[k], out.B[k] = s.TS[i], s.B[i]
	}
	return out
}
