package dwell

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// LagSource says what a lag rests on.
type LagSource string

// The sources of a lag.
const (
	FromLabels  LagSource = "labels"  // the samples say when the load was on
	FromPrompts LagSource = "prompts" // measured against the prompts
	FromRhythm  LagSource = "rhythm"  // measured against the stated rhythm
	FromSeen    LagSource = "seen"    // the rhythm itself was taken from clear stations
	FromAssumed LagSource = "assumed" // no station shows a step
)

// Lag is the delay between a prompt and the switching, common to a run.
type Lag struct {
	MeanS    float64
	SDS      float64 // spread from edge to edge
	Source   LagSource
	Captures int // stations with clear steps that set it
	Edges    int // edges found in them

	// The rhythm seen, with FromSeen only: StartS off, then OnS on, OffS off...
	StartS, OnS, OffS float64
	Warnings          []string
}

// How Timing looks at a run; common practice, no source. clearScore is far
// beyond what the log likelihood ratio of a square wave reaches in noise.
const (
	lagStepS   = 0.05
	clearScore = 80
	clearRatio = 3 // step over the deviation of one sample, for single edges
)

// Timing estimates the operator's lag once for a run. Captures with labels
// need none. In the others a square wave after the prompts (or the rhythm of
// the options) is moved over a grid of lags; those that show it beyond doubt
// vote, and their single edges give the lag's spread. Quiet stations have no
// vote. Where none is clear, the lag of the options is assumed.
//
// Without prompts and with no rhythm in the options, the rhythm is taken from
// the clear stations, if they agree. Else the error is ErrNoTiming; other
// errors are those of Locate for the first bad capture. No captures at all:
// ErrNoSamples.
func Timing(captures []PulsedSeries, o PulseOptions) (Lag, error) {
	o = o.withDefaults()
	if len(captures) == 0 {
		return Lag{}, ErrNoSamples
	}
	var open []PulsedSeries
	prompted := false
	for i, c := range captures {
		if err := c.check(); err != nil {
			return Lag{}, fmt.Errorf("capture %d: %w", i+1, err)
		}
		if c.labels() != nil {
			continue
		}
		if at, _, systematic := held(c.B); systematic {
			c = c.pickPulsed(at)
		}
		open = append(open, c)
		prompted = prompted || len(c.Prompts) > 0
	}
	switch {
	case len(open) == 0:
		return Lag{Source: FromLabels}, nil
	case !prompted && !o.rhythmKnown():
		return seenRhythm(open, o)
	case prompted:
		return measureLag(open, o, FromPrompts), nil
	}
	return measureLag(open, o, FromRhythm), nil
}

// stepped is a station that shows its steps.
type stepped struct {
	c       PulsedSeries
	nominal []Edge
	lag     float64
}

func measureLag(captures []PulsedSeries, o PulseOptions, source LagSource) Lag {
	o = o.within(shortestPhase(captures, o))
	var clears []stepped
	var lags []float64
	for _, c := range captures {
		edges := c.nominal(Lag{}, o)
		if len(edges) == 0 {
			continue
		}
		if lag, score := bestLag(c, edges, o); score > clearScore {
			clears = append(clears, stepped{c, edges, lag})
			lags = append(lags, lag)
		}
	}
	if len(clears) == 0 {
		lag := o.AssumedLag
		lag.Source = FromAssumed
		lag.Warnings = []string{fmt.Sprintf("no station shows a clear step: a lag of %.2f s is assumed", lag.MeanS)}
		return lag
	}
	out := Lag{Source: source, Captures: len(clears), MeanS: median(lags)}
	var found []float64
	interval := 0.0
	for _, k := range clears {
		found = append(found, k.edgeLags(out.MeanS, o)...)
		interval = max(interval, typicalInterval(k.c.TS))
	}
	out.Edges = len(found)
	grid := max(lagStepS, interval) / math.Sqrt(12)
	if len(found) < 6 {
		out.SDS = max(madSD(lags, out.MeanS), o.AssumedLag.SDS/2, grid)
		return out
	}
	middle := median(found)
	scale := max(madSD(found, middle), interval/2)
	var influence []float64
	out.MeanS, influence = biweight(found, middle, scale)
	_, sd := Moments(influence)
	out.SDS = max(sd, interval/math.Sqrt(12))
	if out.SDS > 0.3*o.LagMostS {
		out.Warnings = append(out.Warnings, fmt.Sprintf("the switching follows the prompts loosely (%.1f s): label the samples or repeat the run", out.SDS))
	}
	return out
}

// within narrows the lags sought to less than one phase of the rhythm: later
// by a whole phase, on and off change places and fit as well.
func (o PulseOptions) within(phaseS float64) PulseOptions {
	o.LagLeastS = max(o.LagLeastS, -0.25*phaseS)
	o.LagMostS = min(o.LagMostS, 0.65*phaseS)
	return o
}

// shortestPhase is the shortest time between two edges as prompted, or as the
// rhythm has it; infinite where there are no two.
func shortestPhase(captures []PulsedSeries, o PulseOptions) float64 {
	shortest := math.Inf(1)
	for _, c := range captures {
		edges := c.nominal(Lag{}, o)
		for i := 1; i < len(edges); i++ {
			if d := edges[i].TS - edges[i-1].TS; d > 0 {
				shortest = min(shortest, d)
			}
		}
	}
	return shortest
}

func typicalInterval(ts []float64) float64 {
	if len(ts) < 2 {
		return 0
	}
	return (ts[len(ts)-1] - ts[0]) / float64(len(ts)-1)
}

// bestLag moves the square wave of the edges over the grid and gives the lag
// that explains most of the capture beyond a straight line, with the log
// likelihood ratio over all axes. Spikes are clipped first.
func bestLag(c PulsedSeries, edges []Edge, o PulseOptions) (lag, score float64) {
	y := columns(c.B)
	var base [3]float64
	step := steps(sortedAxes(y), o.Options)
	for k := range 3 {
		clip(y[k], 6)
		detrend(c.TS, y[k])
		base[k] = squares(y[k]) + float64(len(y[k]))*step[k]*step[k]/12
	}
	n := float64(len(c.TS))
	mt, st := Moments(c.TS)
	stt := st * st * (n - 1)
	upTo := sums(c.TS, mt, y)
	for at := o.LagLeastS; at <= o.LagMostS+lagStepS/2; at += lagStepS {
		on := whileOn(c.TS, edges, at, upTo)
		// The square of the wave less its straight line.
		w2 := on.count - on.count*on.count/n
		if stt > 0 {
			w2 -= on.time * on.time / stt
		}
		if w2 < 1e-9*n {
			continue
		}
		s := 0.0
		for k := range 3 {
			s += n * math.Log(base[k]/max(base[k]-on.field[k]*on.field[k]/w2, 1e-12*base[k]))
		}
		if s > score {
			lag, score = at, s
		}
	}
	return lag, score
}

// clip draws values further than sigmas robust deviations off in to there.
func clip(x []float64, sigmas float64) {
	s := sorted(x)
	m := s.median()
	r := sigmas * s.madSD(m)
	if r == 0 {
		return
	}
	for i, v := range x {
		x[i] = min(max(v, m-r), m+r)
	}
}

// detrend takes the least-squares straight line out of x.
func detrend(ts, x []float64) {
	mt, st := Moments(ts)
	mx, _ := Moments(x)
	sxt, stt := 0.0, st*st*float64(len(ts)-1)
	for i, t := range ts {
		sxt += (t - mt) * (x[i] - mx)
	}
	slope := 0.0
	if stt > 0 {
		slope = sxt / stt
	}
	for i, t := range ts {
		x[i] -= mx + slope*(t-mt)
	}
}

func squares(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v * v
	}
	return s
}

// waveSums are sums over some samples: how many they are, their times about
// the mean time and their field on each axis. A square wave times a series is
// the sum of the series while the wave is on, so that the sums up to each
// sample give it for any lag.
type waveSums struct {
	count, time float64
	field       [3]float64
}

// sums returns the sums over the first i samples, i = 0..n.
func sums(ts []float64, mean float64, y [3][]float64) []waveSums {
	out := make([]waveSums, len(ts)+1)
	for i, t := range ts {
		s := out[i]
		s.count++
		s.time += t - mean
		for k := range 3 {
			s.field[k] += y[k][i]
		}
		out[i+1] = s
	}
	return out
}

// whileOn returns the sums over the samples while on, for edges later by lag.
func whileOn(ts []float64, edges []Edge, lag float64, upTo []waveSums) waveSums {
	var out waveSums
	from, on := 0, !edges[0].On
	until := func(to int) {
		if !on {
			return
		}
		a, b := upTo[from], upTo[to]
		out.count += b.count - a.count
		out.time += b.time - a.time
		for k := range 3 {
			out.field[k] += b.field[k] - a.field[k]
		}
	}
	for _, e := range edges {
		at := sort.SearchFloat64s(ts, e.TS+lag)
		until(at)
		from, on = at, e.On
	}
	until(len(ts))
	return out
}

// edgeLags are the lags of the single edges of a clear station, as far as one
// sample shows the step: along the step vector, the place where the levels on
// either side divide best. Edges at the end of the search are left out.
func (k stepped) edgeLags(lag float64, o PulseOptions) []float64 {
	spans := k.c.spans(shift(k.nominal, lag), o.DropS, 0)
	var on, off []r3.Vec
	for _, s := range spans {
		if s.on {
			on = append(on, k.c.B[s.from:s.to]...)
		} else {
			off = append(off, k.c.B[s.from:s.to]...)
		}
	}
	if len(on) < 4 || len(off) < 4 {
		return nil
	}
	high, low := magmath.MedianVec(on), magmath.MedianVec(off)
	by := r3.Sub(high, low)
	past := make([]float64, len(k.c.B))
	middle := r3.Scale(0.5, r3.Add(high, low))
	size := r3.Norm2(by)
	for i, b := range k.c.B {
		past[i] = min(max(r3.Dot(r3.Sub(b, middle), by)/size, -0.5), 0.5)
	}
	noise := 0.0
	for _, set := range [][]r3.Vec{on, off} {
		p := make([]float64, len(set))
		for i, b := range set {
			p[i] = r3.Dot(b, by) / size
		}
		noise = max(noise, madSD(p, median(p)))
	}
	if noise*clearRatio > 1 {
		return nil
	}
	var out []float64
	for i, e := range k.nominal {
		if l, ok := k.edgeLag(i, e, past, o); ok {
			out = append(out, l)
		}
	}
	return out
}

// edgeLag looks for one edge, from the middle of the interval before it to
// three quarters into the one after: a hand is late rather than early.
func (k stepped) edgeLag(i int, e Edge, past []float64, o PulseOptions) (float64, bool) {
	ts := k.c.TS
	from, to := e.TS+o.LagLeastS, e.TS+o.LagMostS
	if i > 0 {
		from = max(from, (e.TS+k.nominal[i-1].TS)/2)
	}
	if i+1 < len(k.nominal) {
		to = min(to, e.TS+0.75*(k.nominal[i+1].TS-e.TS))
	}
	low, high := sort.SearchFloat64s(ts, from), sort.SearchFloat64s(ts, to)
	sign := -1.0
	if e.On {
		sign = 1
	}
	best, bestSum, sum := low, 0.0, 0.0
	for j := low; j < high; j++ {
		sum -= sign * past[j]
		if sum > bestSum {
			best, bestSum = j+1, sum
		}
	}
	if best <= low || best >= high {
		return 0, false
	}
	return (ts[best-1]+ts[best])/2 - e.TS, true
}

// seenRhythm takes the rhythm from stations whose steps stand out by
// themselves. The first level is taken for off.
func seenRhythm(captures []PulsedSeries, o PulseOptions) (Lag, error) {
	var start, on, off []float64
	clears := 0
	for _, c := range captures {
		at := plainSteps(c)
		if len(at) < 2*o.MinPulses-1 {
			continue
		}
		clears++
		start = append(start, at[0]-c.TS[0])
		for i := 1; i < len(at); i++ {
			if i%2 == 1 {
				on = append(on, at[i]-at[i-1])
			} else {
				off = append(off, at[i]-at[i-1])
			}
		}
	}
	if clears == 0 {
		return Lag{}, ErrNoTiming
	}
	out := Lag{Source: FromSeen, Captures: clears, Edges: len(on) + len(off) + clears,
		StartS: median(start), OnS: median(on), OffS: median(off)}
	out.SDS = max(madSD(start, out.StartS), madSD(on, out.OnS), madSD(off, out.OffS), 0.05)
	if out.SDS > min(out.OnS, out.OffS)/4 {
		return Lag{}, ErrNoTiming
	}
	out.Warnings = []string{fmt.Sprintf("rhythm taken from the stations with clear steps: %.1f s off first, then %.1f s on, %.1f s off", out.StartS, out.OnS, out.OffS)}
	return out, nil
}

// plainSteps are the times at which a capture with two plain levels changes
// between them; nothing if the levels do not stand apart.
func plainSteps(c PulsedSeries) []float64 {
	cols := columns(c.B)
	var p []float64
	var most, low, high float64
	for k := range 3 { // the axis that shows it best
		d := make([]float64, 0, len(cols[k]))
		for i := 1; i < len(cols[k]); i++ {
			d = append(d, cols[k][i]-cols[k][i-1])
		}
		s := sorted(cols[k])
		noise := max(madSD(d, 0)/math.Sqrt2, s.smallestGap()/2, 1e-9)
		if r := (s.quantile(0.85) - s.quantile(0.15)) / noise; r > most {
			most, p = r, cols[k]
			low, high = s.quantile(0.15), s.quantile(0.85)
		}
	}
	if most < 8 {
		return nil
	}
	var at []float64
	up := p[0] > (low+high)/2
	for i, v := range p {
		f := (v - low) / (high - low)
		// Two samples in a row, so that a spike is no step.
		if next := min(i+1, len(p)-1); i > 0 && (f > 0.65) != up && (f > 0.65 || f < 0.35) && ((p[next]-low)/(high-low) > 0.5) != up {
			at = append(at, (c.TS[i-1]+c.TS[i])/2)
			up = !up
		}
	}
	return slices.Clip(at)
}
