package dwell

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
)

// LagSource tells where a lag comes from.
type LagSource string

// The sources of a lag.
const (
	FromLabels  LagSource = "labels"  // the samples tell when the load was on
	FromPrompts LagSource = "prompts" // measured against the prompts
	FromRhythm  LagSource = "rhythm"  // measured against the stated rhythm
	FromSeen    LagSource = "seen"    // the rhythm itself was taken from clear stations
	FromAssumed LagSource = "assumed" // no station shows a step
)

// Lag is the delay between a prompt and the switching, common to a run.
type Lag struct {
	MeanS    float64 // seconds
	SDS      float64 // spread from edge to edge, seconds
	Source   LagSource
	Captures int // stations with clear steps that set it
	Edges    int // edges found in them

	// The rhythm found, with FromSeen only: StartS off, then OnS on, OffS off...
	StartS, OnS, OffS float64
}

// How Timing looks at a run; common practice, no source. clearScore is far
// beyond what the log likelihood ratio of a square wave reaches in noise.
const (
	earliestLagS = -0.5
	latestLagS   = 1.5
	lagStepS     = 0.05
	clearScore   = 80
	clearRatio   = 3 // step over the deviation of one sample, for single edges

	// The lag of a hand that follows a prompt.
	assumedLagS   = 0.35
	assumedLagSDS = 0.2
)

// Timing returns the operator's lag of a run. Captures with labels need none.
// In each of the others it moves a square wave after the prompts (or the rhythm
// of the options) over a grid of lags. Those that show the wave beyond doubt
// vote, and their single edges give the lag's spread; quiet stations have no
// vote. Where none is clear, the lag is assumed.
//
// Without prompts and with no rhythm in the options, the rhythm comes from the
// clear stations if they agree, else the error is ErrNoTiming. Other errors are
// those of Locate for the first bad capture, ErrNoSamples without captures, and
// that of ctx once it is done.
func Timing(ctx context.Context, captures []PulsedSeries, o PulseOptions) (Lag, error) {
	o = o.valid()
	if len(captures) == 0 {
		return Lag{}, ErrNoSamples
	}
	var open []PulsedSeries
	prompted := false
	for i, c := range captures {
		if err := c.Check(); err != nil {
			return Lag{}, fmt.Errorf("capture %d: %w", i+1, err)
		}
		if c.labels() == nil {
			open = append(open, c.thinned())
			prompted = prompted || len(c.Prompts) > 0
		}
	}
	switch {
	case len(open) == 0:
		return Lag{Source: FromLabels}, nil
	case prompted:
		return measureLag(ctx, open, o, FromPrompts)
	case o.OnS > 0 && o.OffS > 0:
		return measureLag(ctx, open, o, FromRhythm)
	}
	return findRhythm(ctx, open)
}

// nominal returns the prompted edges, or those of the rhythm, without lag. A
// prompt that has the load off as the capture begins is not an edge: it was off
// before, too.
func (c PulsedSeries) nominal(lag Lag, o PulseOptions) []Edge {
	var out []Edge
	for _, e := range c.Prompts {
		if len(out) == 0 && !e.On && e.TS <= c.TS[0]+o.DropS {
			continue
		}
		if len(out) == 0 || out[len(out)-1].On != e.On {
			out = append(out, e)
		}
	}
	if len(out) > 0 {
		return out
	}
	start, onS, offS := o.OffS, o.OnS, o.OffS
	if lag.Source == FromSeen {
		start, onS, offS = lag.StartS, lag.OnS, lag.OffS
	}
	if !(onS > 0 && offS > 0) {
		return nil
	}
	at, end, on := c.TS[0]+start, c.TS[len(c.TS)-1], true
	for at < end && len(out) < len(c.TS) {
		out = append(out, Edge{at, on})
		if on {
			at += onS
		} else {
			at += offS
		}
		on = !on
	}
	return out
}

// shift returns the edges later by some seconds.
func shift(edges []Edge, byS float64) []Edge {
	out := slices.Clone(edges)
	for i := range out {
		out[i].TS += byS
	}
	return out
}

// clearCapture is a capture that shows its steps.
type clearCapture struct {
	PulsedSeries
	edges []Edge // nominal
}

// lagRange is the span of lags sought, in seconds.
type lagRange struct{ least, most float64 }

// searchRange returns the lags sought. They stay within one phase of the
// rhythm: later by a whole phase, on and off change places and fit as well.
func searchRange(captures []PulsedSeries, o PulseOptions) lagRange {
	phase := math.Inf(1) // the shortest time between two edges
	for _, c := range captures {
		edges := c.nominal(Lag{}, o)
		for i := 1; i < len(edges); i++ {
			if d := edges[i].TS - edges[i-1].TS; d > 0 {
				phase = min(phase, d)
			}
		}
	}
	return lagRange{max(earliestLagS, -0.25*phase), min(latestLagS, 0.65*phase)}
}

// measureLag returns the lag that the captures with clear steps show, or the
// assumed one. The only error is that of ctx.
func measureLag(ctx context.Context, captures []PulsedSeries, o PulseOptions, source LagSource) (Lag, error) {
	search := searchRange(captures, o)
	var clears []clearCapture
	var lags []float64
	for _, c := range captures {
		edges := c.nominal(Lag{}, o)
		if len(edges) == 0 {
			continue
		}
		if lag, score := bestLag(ctx, c, edges, search, o); score > clearScore {
			clears = append(clears, clearCapture{c, edges})
			lags = append(lags, lag)
		}
	}
	if ctx.Err() != nil {
		return Lag{}, ctx.Err()
	}
	if len(clears) == 0 {
		return Lag{MeanS: assumedLagS, SDS: assumedLagSDS, Source: FromAssumed}, nil
	}
	out := Lag{Source: source, Captures: len(clears), MeanS: median(lags)}
	var found []float64
	interval := 0.0 // between samples
	for _, c := range clears {
		if ctx.Err() != nil {
			return Lag{}, ctx.Err()
		}
		found = append(found, c.edgeLags(out.MeanS, search, o)...)
		if n := len(c.TS); n > 1 {
			interval = max(interval, (c.TS[n-1]-c.TS[0])/float64(n-1))
		}
	}
	out.Edges = len(found)
	if len(found) < 6 {
		grid := max(lagStepS, interval) / math.Sqrt(12)
		out.SDS = max(madSD(lags, out.MeanS), assumedLagSDS/2, grid)
		return out, nil
	}
	middle := median(found)
	scale := max(madSD(found, middle), interval/2)
	var influence []float64
	out.MeanS, influence = biweight(found, middle, scale)
	_, sd := moments(influence)
	out.SDS = max(sd, interval/math.Sqrt(12))
	return out, nil
}

// bestLag moves the square wave of the edges over the grid and returns the lag
// that explains most of the capture beyond a straight line, with the log
// likelihood ratio over all axes. Spikes are clipped first. Once ctx is done the
// search ends early.
func bestLag(ctx context.Context, c PulsedSeries, edges []Edge, search lagRange, o PulseOptions) (lag, score float64) {
	y := columns(c.B)
	var base [3]float64
	if ctx.Err() != nil {
		return 0, 0
	}
	order := sortedAxes(y)
	step := steps(order, o.Options)
	for k := range 3 {
		clip(y[k], order[k])
		detrend(c.TS, y[k])
		base[k] = squares(y[k]) + float64(len(y[k]))*step[k]*step[k]/12
	}
	n := float64(len(c.TS))
	mean, sd := moments(c.TS)
	stt := sd * sd * (n - 1)
	upTo := sums(c.TS, mean, y)
	for at := search.least; at <= search.most+lagStepS/2 && ctx.Err() == nil; at += lagStepS {
		on := whileOn(c.TS, edges, at, upTo)
		// The sum of squares of the wave less its straight line.
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

// clip draws the values of x further than six robust deviations off in to there.
func clip(x []float64, order ascending) {
	m := order.median()
	r := 6 * order.madSD(m)
	if r == 0 {
		return
	}
	for i, v := range x {
		x[i] = min(max(v, m-r), m+r)
	}
}

// detrend subtracts the least-squares straight line from x.
func detrend(ts, x []float64) {
	mt, st := moments(ts)
	mx, _ := moments(x)
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

// waveSums are sums over some samples: their number, their times about the mean
// time and their field on each axis. A square wave times a series is the sum of
// the series while the wave is on, so that the sums up to each sample give it
// for any lag.
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

// edgeLags returns the lags of the single edges as far as one sample shows the
// step: the times at which the field along the step goes from one level to the
// other. Edges at an end of the search are left out.
func (c clearCapture) edgeLags(lag float64, search lagRange, o PulseOptions) []float64 {
	var on, off []r3.Vec
	for _, s := range c.spans(shift(c.edges, lag), o.DropS, 0, false) {
		if s.on {
			on = append(on, c.B[s.from:s.to]...)
		} else {
			off = append(off, c.B[s.from:s.to]...)
		}
	}
	if len(on) < 4 || len(off) < 4 {
		return nil
	}
	high, low := magmath.MedianVec(on), magmath.MedianVec(off)
	by := r3.Sub(high, low)
	past := make([]float64, len(c.B))
	middle := r3.Scale(0.5, r3.Add(high, low))
	size := r3.Norm2(by)
	for i, b := range c.B {
		past[i] = min(max(r3.Dot(r3.Sub(b, middle), by)/size, -0.5), 0.5)
	}
	noise := 0.0
	for _, set := range [][]r3.Vec{on, off} {
		p := make([]float64, len(set))
		for i, b := range set {
			p[i] = r3.Dot(b, by) / size
		}
		order := sorted(p)
		noise = max(noise, order.madSD(order.median()))
	}
	if noise*clearRatio > 1 {
		return nil
	}
	var out []float64
	for i := range c.edges {
		if l, ok := c.edgeLag(i, past, search); ok {
			out = append(out, l)
		}
	}
	return out
}

// edgeLag returns the lag of one edge. It looks from the middle of the interval
// before the edge to three quarters into the one after: a hand is late rather
// than early.
func (c clearCapture) edgeLag(i int, past []float64, search lagRange) (float64, bool) {
	e := c.edges[i]
	from, to := e.TS+search.least, e.TS+search.most
	if i > 0 {
		from = max(from, (e.TS+c.edges[i-1].TS)/2)
	}
	if i+1 < len(c.edges) {
		to = min(to, e.TS+0.75*(c.edges[i+1].TS-e.TS))
	}
	low, high := sort.SearchFloat64s(c.TS, from), sort.SearchFloat64s(c.TS, to)
	sign := -1.0
	if e.On {
		sign = 1
	}
	at := divide(past, low, high, sign)
	if at <= low || at >= high {
		return 0, false
	}
	return (c.TS[at-1]+c.TS[at])/2 - e.TS, true
}

// findRhythm returns the rhythm of the captures whose steps stand out by
// themselves, with the first level as off; ErrNoTiming where there are none or
// they disagree, the error of ctx once it is done.
func findRhythm(ctx context.Context, captures []PulsedSeries) (Lag, error) {
	var start, on, off []float64
	clears := 0
	for _, c := range captures {
		if ctx.Err() != nil {
			return Lag{}, ctx.Err()
		}
		at := plainSteps(c.Series)
		if len(at) < 2*fewestPulses-1 {
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
	return out, nil
}

// plainSteps returns the times at which a series with two plain levels changes
// between them; nil if the levels do not stand apart.
func plainSteps(s Series) []float64 {
	axes := columns(s.B)
	var p []float64 // the axis that shows the levels best
	var most, low, high float64
	for _, x := range axes {
		d := make([]float64, 0, len(x))
		for i := 1; i < len(x); i++ {
			d = append(d, x[i]-x[i-1])
		}
		order := sorted(x)
		a, b := order.quantile(0.15), order.quantile(0.85)
		noise := max(madSD(d, 0)/math.Sqrt2, order.smallestGap()/2, 1e-9)
		if r := (b - a) / noise; r > most {
			most, p, low, high = r, x, a, b
		}
	}
	if most < 8 {
		return nil
	}
	share := func(i int) float64 { return (p[i] - low) / (high - low) }
	var at []float64
	up := share(0) > 0.5
	for i := 1; i < len(p); i++ {
		f := share(i)
		// Two samples in a row, so that a spike is no step.
		if (f > 0.65) != up && (f > 0.65 || f < 0.35) && (share(min(i+1, len(p)-1)) > 0.5) != up {
			at = append(at, (s.TS[i-1]+s.TS[i])/2)
			up = !up
		}
	}
	return at
}
