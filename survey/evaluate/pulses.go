package evaluate

import (
	"context"
	"errors"
	"slices"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// mostWarnings bounds the captures of a run whose pulses are remarked on.
const mostWarnings = 4

// difference turns the captures of a pulsed run into on-minus-off vectors,
// and their off levels into captures of the unpowered craft. The timing is
// that of the whole run; a capture that cannot be used is left out and named.
func difference(ctx context.Context, r *logbook.Run, rangeUT float64) (out []reading, notes []remark.Remark) {
	f, caps := r.Header.Frame(), r.Valid()
	// A base return at which nothing was switched says nothing of the load.
	caps = slices.DeleteFunc(caps, func(c logbook.Capture) bool {
		return len(c.Samples) == 0 || c.Visit == logbook.VisitBase && !switched(c)
	})
	when := times(r, caps)
	opts := pulseOptions(r.Header)
	all := make([]dwell.PulsedSeries, len(caps))
	saturated, why := make([]bool, len(caps)), make([]remark.Remark, len(caps))
	for i, c := range caps {
		if ctx.Err() != nil {
			return nil, nil
		}
		all[i] = pulsedSeries(f, c)
		why[i], saturated[i] = c.AtFullScale(rangeUT)
	}
	lag, err := timing(all, opts)
	if err != nil {
		return nil, []remark.Remark{remark.New("evaluate.run_untimed", remark.Values{"cause": err.Error()}).At(remark.Place{Run: r.Header.Run, Load: r.Header.State})}
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
		if estimates[i], err = dwell.Pulse(all[i], lag, opts); err != nil {
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
			if q, err := dwell.Locate(s, dwell.Options{}); err == nil {
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

// switched reports whether the load went on in a capture, by its prompts or by
// what its samples say of the load; a current's idle noise does not count.
func switched(c logbook.Capture) bool {
	return len(c.Prompts) > 0 || slices.Contains(survey.LoadLevels(c.Samples), dwell.On)
}

// timing returns the timing of a run from those of its captures that can be read.
func timing(all []dwell.PulsedSeries, o dwell.PulseOptions) (dwell.Lag, error) {
	good := slices.DeleteFunc(slices.Clone(all), func(s dwell.PulsedSeries) bool { return s.Series.Check() != nil })
	if len(good) == 0 {
		return dwell.Lag{}, errors.New("none of its captures can be read")
	}
	return dwell.Timing(good, o)
}

// pulseOptions are the run's own rhythm; none where the header has none.
func pulseOptions(h logbook.Header) dwell.PulseOptions {
	o := dwell.DefaultPulseOptions()
	o.OnS, o.OffS = 0, 0
	if h.Rhythm != nil {
		o.OnS, o.OffS, o.DropS = h.Rhythm.OnS, h.Rhythm.OffS, h.Rhythm.DropS
	}
	return o
}

func pulsedSeries(f survey.Frame, c logbook.Capture) dwell.PulsedSeries {
	p := dwell.PulsedSeries{Series: series(f, c)}
	for _, q := range c.Prompts {
		p.Prompts = append(p.Prompts, dwell.Edge{TS: q.TS, On: q.On})
	}
	currents := make([]float64, 0, len(c.Samples))
	hasLabel := false
	for _, x := range c.Samples {
		hasLabel = hasLabel || x.Has&survey.HasLoadOn != 0
		if x.Has&survey.HasCurrent != 0 {
			currents = append(currents, x.CurrentA)
		}
	}
	whole := len(currents) == len(c.Samples) && len(currents) > 0
	if whole {
		p.CurrentA = currents
	}
	if hasLabel || !whole && len(currents) > 0 {
		p.Label = survey.LoadLevels(c.Samples)
	}
	return p
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
