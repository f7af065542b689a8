package evaluate

import (
	"context"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey/logbook"
)

// mostWarnings bounds the captures of a run whose pulses are remarked on.
const mostWarnings = 4

// difference turns the captures of a pulsed run into on-minus-off vectors,
// and their off levels into captures of the unpowered craft. The timing is
// that of the whole run; a capture that cannot be used is left out and named.
func difference(ctx context.Context, r *logbook.Run, rangeUT float64) (out []reading, notes []remark.Remark) {
	p, err := r.Pulses(ctx)
	if ctx.Err() != nil {
		return nil, nil
	}
	if err != nil {
		return nil, []remark.Remark{remark.New("evaluate.run_untimed", remark.Values{"cause": err}).At(remark.Place{Run: r.Header.Run, Load: r.Header.State})}
	}
	caps, all, lag, opts := p.Captures, p.Series, p.Lag, p.Options
	when := times(r, caps)
	saturated, why := make([]bool, len(caps)), make([]remark.Remark, len(caps))
	for i := range caps {
		why[i], saturated[i] = caps[i].AtFullScale(rangeUT)
	}
	if lag.Source == dwell.FromAssumed {
		notes = append(notes, remark.New("evaluate.no_step", remark.Values{"lag_s": lag.MeanS}).At(remark.Place{Run: r.Header.Run}))
	}
	estimates := make([]dwell.PulseEstimate, len(caps))
	var good []int
	for i, c := range caps {
		if ctx.Err() != nil {
			return nil, nil
		}
		if estimates[i], err = dwell.Pulse(ctx, all[i], lag, opts); err != nil {
			notes = append(notes, leftOut(r, c, err))
			continue
		}
		good = append(good, i)
	}
	notes = append(notes, pulseNotes(r, caps, estimates, good, lag)...)
	for k, e := range dwell.Moderate(Pick(estimates, good)) {
		if ctx.Err() != nil {
			return nil, nil
		}
		i := good[k]
		if saturated[i] {
			notes = append(notes, why[i].At(placeOf(r, caps[i])))
		}
		out = append(out, reading{run: r, Capture: caps[i], Ts: when[i], B: e.Diff, Cov: widened(e.Cov, e.DF), pulsed: true, Saturated: saturated[i]})
		if s, ok := offLevel(all[i], lag, opts); ok && !saturated[i] {
			if q, err := dwell.Locate(ctx, s, dwell.Options{}); err == nil {
				out = append(out, reading{run: r, Capture: caps[i], Ts: when[i], B: q.Mean, Cov: widened(q.Cov, q.DF), Off: true})
			}
		}
	}
	return out, notes
}

// Pick returns the elements of all at the indices some.
func Pick[T any](all []T, some []int) []T {
	out := make([]T, len(some))
	for k, i := range some {
		out[k] = all[i]
	}
	return out
}

// pulseNotes are the remarks on the pulses of a run, a few of them. Where no
// timing is known every one of them would be due to that.
func pulseNotes(r *logbook.Run, caps []logbook.Capture, all []dwell.PulseEstimate, some []int, lag dwell.Lag) []remark.Remark {
	if lag.Source == dwell.FromAssumed {
		return nil
	}
	var notes []remark.Remark
	remarked := 0
	for _, i := range some {
		if !remarkable(all[i], len(caps)) || remarked == mostWarnings {
			continue
		}
		remarked++
		for _, w := range all[i].Warnings {
			notes = append(notes, w.At(placeOf(r, caps[i])))
		}
	}
	return notes
}

// remarkable reports whether a capture's pulses deserve a note among n of
// them: a rise within the on-time at one per cent shows by chance in one
// capture of a hundred.
func remarkable(e dwell.PulseEstimate, n int) bool {
	chance := len(e.Warnings) == 1 && e.RiseP < 0.01 && e.RiseP > 0.01/float64(n)
	return len(e.Warnings) > 0 && !chance
}

// offLevel are the samples of a pulsed capture while the load was surely off;
// false where labels and prompts do not say.
func offLevel(p dwell.PulsedSeries, lag dwell.Lag, o dwell.PulseOptions) (dwell.Series, bool) {
	edges, wait := p.Prompts, o.DropS+lag.MeanS+2*lag.SDS
	if on := labelEdges(p); len(on) > 0 {
		edges, wait = on, o.DropS
	}
	var s dwell.Series
	if len(edges) == 0 {
		return s, false
	}
	k, on, since := 0, !edges[0].On, p.TS[0]-wait
	for i, t := range p.TS {
		for k < len(edges) && edges[k].TS <= t {
			on, since = edges[k].On, edges[k].TS
			k++
		}
		if !on && t-since >= wait {
			s.TS, s.B = append(s.TS, t), append(s.B, p.B[i])
		}
	}
	return s, len(s.TS) >= 10
}

// labelEdges are the moments at which the labels, or the current, change.
func labelEdges(p dwell.PulsedSeries) []dwell.Edge {
	l := p.Label
	if l == nil {
		l = dwell.LabelsFromCurrent(p.CurrentA)
	}
	var out []dwell.Edge
	last := dwell.Unknown
	for i, v := range l {
		if v == dwell.Unknown || v == last {
			continue
		}
		if last != dwell.Unknown {
			out = append(out, dwell.Edge{TS: p.TS[i], On: v == dwell.On})
		}
		last = v
	}
	return out
}
