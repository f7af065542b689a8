package calib

import (
	"context"
	"math"
	"slices"

	"quietmount/magmath/remark"
)

// Rejected readings of a loose lead or of something that switches lie scattered
// over the turn; those of a magnet that was near for a while lie together. The
// limits of the test that tells them apart.
const (
	stretchLevel   = 0.01 // chance of a stretch anywhere among scattered readings
	fewestTogether = 6    // rejected readings, fewer are never a stretch
	mostRounds     = 4    // of leaving stretches out and fitting again
)

// withoutStretches fits again without the stretches of rejected readings of w, an
// attempt on samples, until none is left. If too few of all the readings of the
// turn remain it refuses; otherwise it remarks what was left out.
func withoutStretches(ctx context.Context, w *work, samples []Sample, of int, o Options) (*work, error) {
	var out []Span
	rest := samples
	for round := 0; len(w.away) > 0; round++ {
		out = joinedSpans(append(out, w.away...))
		rest = outside(samples, out)
		if round == mostRounds || float64(len(rest)) < mostOf*float64(of) {
			w.refuseStretches(out, len(samples)-len(rest), samples)
			return w, nil
		}
		next, err := calibrate(ctx, rest, o, false)
		if err != nil {
			return next, err
		}
		w = next
	}
	if len(out) > 0 {
		w.res.Stretches = out
		w.res.Samples, w.res.Rejected = len(samples), w.res.Rejected+len(samples)-len(rest)
		w.res.remark(stretched(out, len(samples)-len(rest), len(samples), Span{}, true))
	}
	return w, nil
}

// refuseStretches refuses for the sake of stretches with count of the samples, and
// puts that before the other refusals, of which they are the likely cause.
func (w *work) refuseStretches(out []Span, count int, samples []Sample) {
	r := &w.res
	first, last := samples[0].TS, samples[len(samples)-1].TS
	r.Samples, r.Stretches = len(samples), out
	r.Rejected = max(r.Rejected, count)
	r.Changes, r.Steady = nil, nil
	from := first
	for _, s := range append(slices.Clone(out), Span{last, last}) {
		if s.FromS > from {
			r.Steady = append(r.Steady, Span{from, s.FromS})
		}
		for _, at := range [2]float64{s.FromS, s.ToS} {
			if at > first && at < last {
				r.Changes = append(r.Changes, at)
			}
		}
		from = s.ToS
	}
	longest := Span{}
	for _, s := range r.Steady {
		if s.lengthS() > longest.lengthS() {
			longest = s
		}
	}
	r.Refusals = slices.Insert(r.Refusals, 0, stretched(out, count, len(samples), longest, false))
	r.Accepted, r.Chosen = false, remark.Remark{}
}

// stretched returns the remark that readings were rejected in stretches, with the
// longest one between them; used: the others were fitted.
func stretched(out []Span, count, of int, longest Span, used bool) remark.Remark {
	var from, to []float64
	for _, s := range out {
		from, to = append(from, s.FromS), append(to, s.ToS)
	}
	return remark.New("calib.stretch", remark.Values{
		"from_s": from, "to_s": to, "count": count, "of": of, "used": used,
		"longest_from_s": longest.FromS, "longest_to_s": longest.ToS,
	})
}

// between returns the samples within a span.
func between(samples []Sample, span Span) []Sample {
	var out []Sample
	for _, s := range samples {
		if s.TS >= span.FromS && s.TS <= span.ToS {
			out = append(out, s)
		}
	}
	return out
}

// outside returns the samples outside some spans.
func outside(samples []Sample, spans []Span) []Sample {
	var out []Sample
	for _, s := range samples {
		if !slices.ContainsFunc(spans, func(p Span) bool { return s.TS >= p.FromS && s.TS <= p.ToS }) {
			out = append(out, s)
		}
	}
	return out
}

// joinedSpans returns spans in order of time, those that overlap or lie within two
// seconds of one another as one.
func joinedSpans(spans []Span) []Span {
	slices.SortFunc(spans, func(a, b Span) int {
		if a.FromS < b.FromS {
			return -1
		}
		return 1
	})
	var out []Span
	for _, s := range spans {
		if k := len(out) - 1; k >= 0 && s.FromS <= out[k].ToS+2 {
			out[k].ToS = max(out[k].ToS, s.ToS)
			continue
		}
		out = append(out, s)
	}
	return out
}

// stretches sets the stretches of time in which the rejected readings of the final
// fit lie together; without one, the stretch with a field of its own.
func (w *work) stretches() {
	if w.final == nil || !w.tells || w.spread() < hardly || len(w.res.Refusals) > 0 && len(w.res.Changes) > 0 {
		return
	}
	var at []int
	for i, r := range w.final.resid {
		if math.Abs(r) > wild*w.final.s {
			at = append(at, i)
		}
	}
	for _, s := range clusters(at, len(w.x)) {
		w.away = append(w.away, Span{w.data.ts[s[0]], w.data.ts[s[1]]})
	}
	if len(w.away) > 0 {
		return
	}
	if from, to, ok := w.base.ownFieldSpan(w.x, w.basep.prior); ok {
		w.away = []Span{{w.data.ts[from], w.data.ts[to-1]}}
	}
}

// clusters returns the stretches, first and last index, in which some of n
// readings, at in rising order, lie together more closely than they would by
// chance, at a level of stretchLevel for the first. Readings are counted, not
// seconds, so that pauses in their arrival do not matter.
func clusters(at []int, n int) [][2]int {
	var out [][2]int
	at = slices.Clone(at)
	// Indices without the stretches that were found: gone[k] readings before at[k].
	gone := make([]int, len(at))
	for len(at) >= fewestTogether {
		squeezed := make([]int, len(at))
		for k := range at {
			squeezed[k] = at[k] - gone[k]
		}
		a, b, ok := closest(squeezed, n)
		if !ok {
			break
		}
		out = append(out, [2]int{at[a], at[b]})
		width := squeezed[b] - squeezed[a] + 1
		for k := b + 1; k < len(at); k++ {
			gone[k] += width
		}
		at, gone = slices.Delete(at, a, b+1), slices.Delete(gone, a, b+1)
		n -= width
	}
	return out
}

// closest returns the stretch at[a]..at[b] least likely by chance, and whether its
// chance is under stretchLevel anywhere among n readings.
//
// If the K marked readings are scattered at random among n, each is followed in
// the next m by a number of others that is hypergeometric, so that c or more
// lie within m+1 with a chance of at most
//
//	K exp(-m D(x, q)),  x = (c-1)/m,  q = (K-1)/(n-1),
//	D(x, q) = x log(x/q) + (1-x) log((1-x)/(1-q)).
//
// The chance is summed over the counts c that are tried, a geometric row of them.
//
// Source: the bound is theorem 1 and section 6 (without replacement) of Hoeffding
// 1963, J. American Statistical Association 58, 13; the union over the first
// reading is Bonferroni's; the scan statistic e.g. Glaz, Naus and Wallenstein 2001,
// Scan Statistics (all from memory). The rate of false alarms is measured in the
// tests.
func closest(at []int, n int) (a, b int, ok bool) {
	k := len(at)
	q := float64(k-1) / float64(n-1)
	unlikely := func(i, j int) float64 { return surprise(j-i, at[j]-at[i], q) }
	best, tried := 0.0, 0
	for c := fewestTogether; ; c = min(k, c+c/4) {
		tried++
		for i := 0; i+c <= k; i++ {
			if s := unlikely(i, i+c-1); s > best {
				best, a, b = s, i, i+c-1
			}
		}
		if c == k {
			break
		}
	}
	if best < math.Log(float64(k*tried)/stretchLevel) {
		return 0, 0, false
	}
	for moved := true; moved; { // the counts between those tried
		moved = false
		for i := 0; i <= b-fewestTogether+1; i++ {
			if s := unlikely(i, b); s > best {
				best, a, moved = s, i, true
			}
		}
		for j := a + fewestTogether - 1; j < k; j++ {
			if s := unlikely(a, j); s > best {
				best, b, moved = s, j, true
			}
		}
	}
	return a, b, true
}

// surprise returns m D(count/m, q), see closest; 0 where the count is not above
// its mean.
func surprise(count, m int, q float64) float64 {
	x := float64(count) / float64(m)
	if x <= q {
		return 0
	}
	d := x * math.Log(x/q)
	if x < 1 {
		d += (1 - x) * math.Log((1-x)/(1-q))
	}
	return float64(m) * d
}
