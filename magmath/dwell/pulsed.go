package dwell

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Level says whether the load was on at a sample.
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

// PulsedSeries is a dwell during which the load went on and off while the
// probe rested.
type PulsedSeries struct {
	Series
	Label    []Level   // one a sample, or nil
	CurrentA []float64 // amperes, one a sample, or nil; labels where Label is nil
	Prompts  []Edge    // what the operator was told, in order of time; or nil
}

// PulseOptions are the rhythm and policy.
type PulseOptions struct {
	Options
	OnS, OffS  float64 // the rhythm of a capture with neither labels nor prompts: OffS off first; 0: unknown
	DropS      float64 // dropped after each edge
	MinPulses  int     // on intervals needed
	LagLeastS  float64 // the operator's lag is sought from here
	LagMostS   float64 // to here
	AssumedLag Lag     // when no station shows a step; MeanS and SDS count
}

// DefaultPulseOptions are six times three seconds or any other number, half
// a second dropped after each edge. The assumed lag of a hand that follows a
// prompt, 0.35 +- 0.2 s, is common practice, no source.
func DefaultPulseOptions() PulseOptions {
	return PulseOptions{
		Options: DefaultOptions(), OnS: 3, OffS: 3, DropS: 0.5, MinPulses: 4,
		LagLeastS: -0.5, LagMostS: 1.5, AssumedLag: Lag{MeanS: 0.35, SDS: 0.2},
	}
}

func (o PulseOptions) withDefaults() PulseOptions {
	d := DefaultPulseOptions()
	o.Options = o.Options.withDefaults()
	if !(o.DropS >= 0) || math.IsInf(o.DropS, 0) {
		o.DropS = d.DropS
	}
	o.MinPulses = max(o.MinPulses, d.MinPulses)
	if !(o.LagMostS > o.LagLeastS) {
		o.LagLeastS, o.LagMostS = d.LagLeastS, d.LagMostS
	}
	if !(o.AssumedLag.SDS > 0) {
		o.AssumedLag = d.AssumedLag
	}
	return o
}

// rhythmKnown tells whether the options say when the load goes on and off.
func (o PulseOptions) rhythmKnown() bool { return o.OnS > 0 && o.OffS > 0 }

// ErrNoTiming: nothing says when the load was on.
var ErrNoTiming = errors.New("no timing known: give load_on or current_a with the samples, or the rhythm of the pulses")

// FewPulsesError says that a capture has too few on intervals with an off
// interval before them.
type FewPulsesError struct{ Got, Need int }

func (e *FewPulsesError) Error() string {
	return fmt.Sprintf("%d usable pulses, %d are needed: capture again with more pulses or longer ones", e.Got, e.Need)
}

// check refuses what no estimator here can use.
func (c PulsedSeries) check() error {
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

// labels are those sent, else those of the current, else nil.
func (c PulsedSeries) labels() []Level {
	if c.Label != nil {
		return usable(c.Label)
	}
	if c.CurrentA != nil {
		return usable(LabelsFromCurrent(c.CurrentA))
	}
	return nil
}

// usable is l if it knows both levels, else nil: a column of zeros labels
// nothing.
func usable(l []Level) []Level {
	var seen [3]bool
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

// pickPulsed is the capture at the given indices.
func (c PulsedSeries) pickPulsed(at []int) PulsedSeries {
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

// LabelsFromCurrent puts the threshold half way between the idle and the full
// current (the 5 and the 95 % quantile, so that a spike sets neither): half
// of the full current where idle is zero. The sign does not matter: a load
// whose polarity is reversed is on while its current is far from zero. A current
// that hardly changes, or that has no two levels standing apart, as the idle
// noise of a meter in another circuit, labels nothing; nor does one that changes
// as if at random between two levels, as the last digit of such a meter does.
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
	for i, a := range size {
		out[i] = Off
		if a > (low+high)/2 {
			out[i] = On
		}
	}
	above := sort.Search(len(order), func(i int) bool { return order[i] > (low+high)/2 })
	if !standApart(order[:above], order[above:]) || shuffled(out) {
		clear(out)
	}
	return out
}

// standApart reports whether two heaps of values are levels of their own:
// the halves of one heap, cut in the middle, have medians about 2.5 (sizes of
// normal noise) to 2.7 (even) of their robust deviations apart.
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

// shuffled reports whether Off and On follow one another as if at random. Those
// of a load stay for many samples.
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

// labelEdges are the times half way between samples of different level;
// samples of unknown level are passed over.
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
