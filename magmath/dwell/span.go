package dwell

import (
	"slices"
	"sort"
)

// span is the usable part of an interval at one level: samples [from, to).
type span struct {
	on       bool
	from, to int
}

// edges are the switching times of a capture and the level before the first.
// labelled edges are exact to a sample.
func (c PulsedSeries) edges(lag Lag, o PulseOptions) (at []Edge, labelled bool) {
	if l := c.labels(); l != nil {
		return labelEdges(c.TS, l), true
	}
	return shift(c.nominal(lag, o), lag.MeanS), false
}

// nominal are the prompted edges, or those of the rhythm, without lag. A
// prompt that has the load off as the capture begins is no edge: it was off
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

func shift(edges []Edge, by float64) []Edge {
	out := slices.Clone(edges)
	for i := range out {
		out[i].TS += by
	}
	return out
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

// spans cut the capture at its edges. After an edge drop seconds and the
// guard go, before an edge the guard: twice the spread of the lag, but never
// more than a quarter of the interval. A stump with under a quarter of the
// ordinary number of samples is left out.
func (c PulsedSeries) spans(edges []Edge, drop, guard float64) []span {
	if len(edges) == 0 {
		return nil
	}
	n := len(c.TS)
	var out []span
	var sizes []float64
	for i := 0; i <= len(edges); i++ {
		s := span{on: !edges[0].On, to: n}
		if i > 0 {
			g := guard
			if i < len(edges) {
				g = min(guard, (edges[i].TS-edges[i-1].TS)/4)
			}
			s.on = edges[i-1].On
			s.from = sort.SearchFloat64s(c.TS, edges[i-1].TS+drop+g)
		}
		if i < len(edges) {
			g := guard
			if i > 0 {
				g = min(guard, (edges[i].TS-edges[i-1].TS)/4)
			}
			s.to = sort.SearchFloat64s(c.TS, edges[i].TS-g)
		}
		if s.to-s.from >= 2 {
			out = append(out, s)
			sizes = append(sizes, float64(s.to-s.from))
		}
	}
	least := median(sizes) / 4
	return slices.DeleteFunc(out, func(s span) bool { return float64(s.to-s.from) < least })
}
