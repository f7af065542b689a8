package dwell

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// Series is one dwell: times in seconds and vectors in microtesla, in any one
// frame. Nothing in this package changes or keeps the slices.
type Series struct {
	TS []float64
	B  []r3.Vec
}

// What can be wrong with a series. They arrive inside a *SampleError, except
// ErrNoSamples and ErrLengths.
var (
	ErrNoSamples = errors.New("no samples: wait for the stream, then capture again")
	ErrLengths   = errors.New("times, vectors or labels differ in number")
	ErrNotFinite = errors.New("value is not a finite number: drop the sample at the decoder")
	ErrBackwards = errors.New("time runs backwards: sort the samples or split the capture")
)

// SampleError says which sample of a series is bad.
type SampleError struct {
	Index int // from 0
	Err   error
}

func (e *SampleError) Error() string { return fmt.Sprintf("sample %d: %v", e.Index+1, e.Err) }

// Unwrap gives the cause.
func (e *SampleError) Unwrap() error { return e.Err }

// Check refuses what no estimator here can use: ErrNoSamples, ErrLengths,
// *SampleError.
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

// columns are the three axes apart.
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

// held finds a slow sensor in a fast log: each reading is sent several times.
// It returns the indices at which the vector changes (the first included),
// the fraction of samples that repeat the one before, and whether the
// repeating is systematic.
//
// Chance repeats of a quiet, coarse sensor have geometric run lengths, of
// variance m(m-1) at mean m; held ones differ by one at most. Only the second
// kind may be thinned: thinning chance repeats would give a rare value the
// weight of a common one.
func held(b []r3.Vec) (changed []int, fraction float64, systematic bool) {
	changed = append(changed, 0)
	for i := 1; i < len(b); i++ {
		if b[i] != b[i-1] {
			changed = append(changed, i)
		}
	}
	fraction = 1 - float64(len(changed)-1)/float64(max(len(b)-1, 1))
	if len(b) < 2 {
		fraction = 0
	}
	if fraction < 0.25 || len(changed) < 6 {
		return changed, fraction, false
	}
	runs := make([]float64, 0, len(changed)-2)
	for k := 1; k+1 < len(changed); k++ { // the first and last run are cut off
		runs = append(runs, float64(changed[k+1]-changed[k]))
	}
	m, sd := Moments(runs)
	return changed, fraction, sd*sd < 0.6*m*(m-1)
}

// pick is the series at the given indices.
func (s Series) pick(at []int) Series {
	out := Series{make([]float64, len(at)), make([]r3.Vec, len(at))}
	for k, i := range at {
		out.TS[k], out.B[k] = s.TS[i], s.B[i]
	}
	return out
}

// Options are what is known of the probe beforehand, and policy.
type Options struct {
	FloorUT      float64 // the probe's own noise, standard deviation of one sample an axis; 0: unknown
	ResolutionUT float64 // quantisation step; 0: unknown, taken from the smallest step seen

	FallbackResolutionUT float64 // step assumed of values all alike with no step known
	FallbackNoiseUT      float64 // noise assumed of a single sample with no floor known
	MaxResolutionUT      float64 // a larger gap between values is not taken for a quantisation step
	SpikeSigmas          float64 // a sample this many robust deviations off is a spike
	DriftP               float64 // drift is remarked under this probability
}

// DefaultOptions assume nothing of the probe. The fallback step is the
// coarsest of the common module chips (0.3 uT; from memory); the other
// figures are common practice, no source.
func DefaultOptions() Options {
	return Options{
		FallbackResolutionUT: 0.3,
		FallbackNoiseUT:      1,
		MaxResolutionUT:      1,
		SpikeSigmas:          4.5,
		DriftP:               0.001,
	}
}

// withDefaults fills in what is zero or nonsense.
func (o Options) withDefaults() Options {
	d := DefaultOptions()
	positive := func(v *float64, otherwise float64) {
		if !(*v > 0) || math.IsInf(*v, 0) {
			*v = otherwise
		}
	}
	positive(&o.FloorUT, 0)
	positive(&o.ResolutionUT, 0)
	positive(&o.FallbackResolutionUT, d.FallbackResolutionUT)
	positive(&o.FallbackNoiseUT, d.FallbackNoiseUT)
	positive(&o.MaxResolutionUT, d.MaxResolutionUT)
	positive(&o.SpikeSigmas, d.SpikeSigmas)
	positive(&o.DriftP, d.DriftP)
	return o
}
