package logbook

import (
	"context"
	"errors"
	"slices"

	"quietmount/magmath/dwell"
	"quietmount/survey"
)

// ErrNoneReadable means that no capture of a pulsed run can be read.
var ErrNoneReadable = errors.New("none of its captures can be read")

// Pulses are the captures of a pulsed run from which its load is found, as
// [dwell.Pulse] takes them. The check of a folder and the evaluation both ask
// [Run.Pulses], and [dwell.Usable] or [dwell.Pulse] of each capture.
type Pulses struct {
	Captures []Capture
	Index    []int                // of Captures, in those of the run
	Series   []dwell.PulsedSeries // of Captures, craft frame, microtesla
	Lag      dwell.Lag            // of the whole run
	Options  dwell.PulseOptions
}

// Pulses returns the pulses of r. A base return at which nothing was switched
// says nothing of the load and is left out, as are void captures; a capture
// that cannot be read takes no part in the timing. On an error, of
// [dwell.Timing] or ErrNoneReadable, all but the lag is set.
func (r *Run) Pulses(ctx context.Context) (Pulses, error) {
	p := Pulses{Options: pulseOptions(r.Header)}
	frame := r.Header.Frame()
	var readable []dwell.PulsedSeries
	for i, c := range r.Captures {
		if ctx.Err() != nil {
			return p, ctx.Err()
		}
		if c.Void != "" || len(c.Samples) == 0 || c.Visit == VisitBase && !c.Switched() {
			continue
		}
		s := c.pulsedSeries(frame)
		p.Captures, p.Index, p.Series = append(p.Captures, c), append(p.Index, i), append(p.Series, s)
		if s.Check() == nil {
			readable = append(readable, s)
		}
	}
	if len(readable) == 0 {
		return p, ErrNoneReadable
	}
	var err error
	p.Lag, err = dwell.Timing(ctx, readable, p.Options)
	return p, err
}

// Switched reports whether the load went on in a capture, by its prompts or by
// what its samples say of the load; a current's idle noise does not count.
func (c *Capture) Switched() bool {
	return len(c.Prompts) > 0 || slices.Contains(survey.LoadLevels(c.Samples), dwell.On)
}

// pulseOptions are the run's own rhythm; none where the header has none.
func pulseOptions(h Header) dwell.PulseOptions {
	o := dwell.DefaultPulseOptions()
	o.OnS, o.OffS = 0, 0
	if h.Rhythm != nil {
		o.OnS, o.OffS, o.DropS = h.Rhythm.OnS, h.Rhythm.OffS, h.Rhythm.DropS
	}
	return o
}

// Series returns the samples of c in the craft frame, microtesla.
func (c *Capture) Series(f survey.Frame) (s dwell.Series) {
	for _, x := range c.Samples {
		s.TS = append(s.TS, x.TS)
		s.B = append(s.B, f.Field(x.B))
	}
	return s
}

// pulsedSeries returns the samples of c with what they and the prompts say of
// the load.
func (c *Capture) pulsedSeries(f survey.Frame) dwell.PulsedSeries {
	p := dwell.PulsedSeries{Series: c.Series(f)}
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
