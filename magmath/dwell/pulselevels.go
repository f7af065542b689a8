package dwell

import "gonum.org/v1/gonum/spatial/r3"

// levels are the intervals of a capture with their robust means and what is
// left of the samples about them.
type levels struct {
	spans   []span
	ts      []float64 // middle of each interval
	mean    []r3.Vec
	rest    [][3][]float64 // influence of each sample on its mean
	times   [][]float64    // of those samples, about the middle
	scale   [2][3]float64  // robust deviation of a sample, off and on
	asleep  [3]float64     // variance of rounding where noise does not help
	spikes  int
	samples int
}

// measure takes the means of the intervals. Off and on have scales of their
// own: a spinning magnet makes on much the wider.
func measure(c PulsedSeries, spans []span, o PulseOptions) levels {
	cols := columns(c.B)
	step := steps(sortedAxes(cols), o.Options)
	out := levels{spans: spans}
	var pool [2][3][]float64
	for _, s := range spans {
		l := level(s.on)
		for k := range 3 {
			m := median(cols[k][s.from:s.to])
			for _, v := range cols[k][s.from:s.to] {
				pool[l][k] = append(pool[l][k], v-m)
			}
		}
	}
	for l := range 2 {
		for k := range 3 {
			if len(pool[l][k]) == 0 {
				continue
			}
			out.scale[l][k] = max(madSD(pool[l][k], 0), step[k]/2, o.FloorUT/2, 1e-12)
		}
	}
	awake := [3]bool{}
	for _, s := range spans {
		out.interval(c, cols, s, o, step, &awake)
	}
	for k := range 3 {
		if !awake[k] {
			out.asleep[k] = step[k] * step[k] / 12
		}
	}
	return out
}

func level(on bool) int {
	if on {
		return 1
	}
	return 0
}

// interval adds one interval.
func (l *levels) interval(c PulsedSeries, cols [3][]float64, s span, o PulseOptions, step [3]float64, awake *[3]bool) {
	var part [3][]float64
	var centre, mean [3]float64
	for k := range 3 {
		part[k] = cols[k][s.from:s.to]
		centre[k] = median(part[k])
	}
	scale := l.scale[level(s.on)]
	mask, spikes := findSpikes(part, centre, scale, o.SpikeSigmas)
	l.spikes += spikes
	l.samples += s.to - s.from - spikes
	var rest [3][]float64
	for k := range 3 {
		x := without(part[k], mask)
		awake[k] = awake[k] || spread(x) >= 1.5*step[k]
		var u []float64
		if spikes > 0 {
			centre[k] = median(x)
		}
		mean[k], u = biweight(x, centre[k], scale[k])
		rest[k] = bridge(u, mask)
	}
	mid, _ := Moments(c.TS[s.from:s.to])
	times := make([]float64, s.to-s.from)
	for i := range times {
		times[i] = c.TS[s.from+i] - mid
	}
	l.ts, l.mean = append(l.ts, mid), append(l.mean, vec(mean))
	l.rest, l.times = append(l.rest, rest), append(l.times, times)
}
