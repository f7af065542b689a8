package dwell

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Level tells whether the load is on at a sample.
type Level int8

// The levels of a load.
const (
	Unknown Level = iota
	Off
	On
)

// Edge is a moment at which the operator was told to switch, or switched.
type Edge struct {
	TS float64 // seconds, on the clock of the samples
	On bool
}

// PulsedSeries is a dwell during which the load goes on and off while the
// probe rests.
type PulsedSeries struct {
	Series
	Label    []Level   // one a sample, or nil
	CurrentA []float64 // amperes, one a sample, or nil; labels the samples where Label is nil
	Prompts  []Edge    // what the operator was told, in order of time; or nil
}

// PulseOptions are what is known of the probe and of the rhythm.
type PulseOptions struct {
	Options
	OnS, OffS float64 // the rhythm of a capture with neither labels nor prompts: OffS off first; 0: unknown
	DropS     float64 // dropped after each edge
}

// DefaultPulseOptions returns the rhythm of three seconds on and three off, in
// any number, with half a second dropped after each edge.
func DefaultPulseOptions() PulseOptions { return PulseOptions{OnS: 3, OffS: 3, DropS: 0.5} }

// valid returns the options with the default for each value that is negative or
// not finite; the rhythm stays.
func (o PulseOptions) valid() PulseOptions {
	o.Options = o.Options.valid()
	if !(o.DropS >= 0) || math.IsInf(o.DropS, 0) {
		o.DropS = DefaultPulseOptions().DropS
	}
	return o
}

// ErrNoTiming means that nothing tells when the load was on.
var ErrNoTiming = errors.New("no timing known: give load_on or current_a with the samples, or the rhythm of the pulses")

// How much a capture needs. The rhythm of a capture without labels is tied to its
// readings by the lag of the hand, which some pulses have to average.
const (
	fewestPulses   = 4 // on intervals, each after an off one
	fewestLabelled = 1 // of them, where every reading says whether the load is on
	fewestReadings = 5 // in an interval
	fewestRows     = 4 // comparisons that show the scatter between the pulses
)

// FewPulsesError is the error of a capture with too few on intervals that have
// an off interval before them.
type FewPulsesError struct{ Got, Need int }

func (e *FewPulsesError) Error() string {
	return fmt.Sprintf("%d usable pulses, %d are needed: capture again with more pulses or longer ones", e.Got, e.Need)
}

// Check returns an error if no estimator here can use the capture: those of
// [Series.Check], also of the labels, the currents and the prompts.
func (c PulsedSeries) Check() error {
	if err := c.Series.Check(); err != nil {
		return err
	}
	if c.Label != nil && len(c.Label) != len(c.B) || c.CurrentA != nil && len(c.CurrentA) != len(c.B) {
		return fmt.Errorf("%w (%d samples, %d labels, %d currents)", ErrLengths, len(c.B), len(c.Label), len(c.CurrentA))
	}
	for i, v := range c.CurrentA {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return &SampleError{i, ErrNotFinite}
		}
	}
	for i, e := range c.Prompts {
		if math.IsNaN(e.TS) || math.IsInf(e.TS, 0) || i > 0 && e.TS < c.Prompts[i-1].TS {
			return fmt.Errorf("prompt %d: %w", i+1, ErrBackwards)
		}
	}
	return nil
}

// thinned returns the capture with each reading of a held stream once.
func (c PulsedSeries) thinned() PulsedSeries {
	at, _, systematic := held(c.B)
	if !systematic {
		return c
	}
	out := PulsedSeries{Series: c.Series.pick(at), Prompts: c.Prompts}
	for _, i := range at {
		if c.Label != nil {
			out.Label = append(out.Label, c.Label[i])
		}
		if c.CurrentA != nil {
			out.CurrentA = append(out.CurrentA, c.CurrentA[i])
		}
	}
	return out
}

// labels returns the labels sent with the samples, else those from the current.
// It returns nil unless both levels occur: a column of zeros labels nothing.
func (c PulsedSeries) labels() []Level {
	l := c.Label
	if l == nil && c.CurrentA != nil {
		l = LabelsFromCurrent(c.CurrentA)
	}
	var seen [On + 1]bool
	for _, v := range l {
		if v >= Unknown && v <= On {
			seen[v] = true
		}
	}
	if seen[Off] && seen[On] {
		return l
	}
	return nil
}

// labelEdges returns the times half way between neighbouring samples of
// different level; samples of unknown level are passed over.
func labelEdges(ts []float64, l []Level) []Edge {
	var out []Edge
	last := -1
	for i, v := range l {
		if v != On && v != Off {
			continue
		}
		if last >= 0 && l[last] != v {
			out = append(out, Edge{(ts[last] + ts[i]) / 2, v == On})
		}
		last = i
	}
	return out
}

// LabelsFromCurrent returns the level of the load at each sample from its
// current in amperes, finite. The threshold is half way between the idle and the
// full current (the 5 and the 95 % quantile, so that a spike sets neither), which
// is half of the full current where idle is zero. The sign does not matter: a
// load whose polarity is reversed is on while its current is far from zero.
//
// All levels are Unknown where the current hardly changes, where it has no two
// levels that stand apart, as the idle noise of a meter in another circuit, and
// where it changes as if at random between two levels, as the last digit of such
// a meter does.
func LabelsFromCurrent(currentA []float64) []Level {
	out := make([]Level, len(currentA))
	if len(currentA) == 0 {
		return out
	}
	size := make([]float64, len(currentA))
	for i, a := range currentA {
		size[i] = math.Abs(a)
	}
	order := sorted(size)
	low, high := order.quantile(0.05), order.quantile(0.95)
	if !(high-low > 0.1*high) {
		return out
	}
	middle := (low + high) / 2
	for i, a := range size {
		out[i] = Off
		if a > middle {
			out[i] = On
		}
	}
	above := sort.Search(len(order), func(i int) bool { return order[i] > middle })
	if !standApart(order[:above], order[above:]) || shuffled(out) {
		clear(out)
	}
	return out
}

// standApart reports whether low and high, the values below and above a
// threshold, are two levels: the halves of one heap of values, cut in the middle,
// have medians about 2.5 (sizes of normal noise) to 2.7 (even) of their robust
// deviations apart.
func standApart(low, high ascending) bool {
	if len(low) == 0 || len(high) == 0 {
		return false
	}
	a, b := low.median(), high.median()
	return b-a > 3.5*max(low.madSD(a), high.madSD(b))
}

// fewForChance is the number of samples below which their order says too little:
// from there on half the changes of a random order are three standard
// deviations below their mean.
const fewForChance = 40

// shuffled reports whether Off and On follow one another as if at random. The
// levels of a load stay for many samples.
//
// Source: the number of runs, a low and b high values in random order change
// 2ab/(a+b) times on average; Wald and Wolfowitz 1940, Annals of Mathematical
// Statistics 11, 147 (from memory).
func shuffled(l []Level) bool {
	var n [On + 1]float64
	changes := 0
	for i, v := range l {
		n[v]++
		if i > 0 && l[i-1] != v {
			changes++
		}
	}
	return len(l) >= fewForChance && float64(changes) > n[Off]*n[On]/float64(len(l))
}
