package evaluate

import (
	"context"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey/logbook"
)

// visitS is the time a visit is taken to need where no clock says.
const visitS = 20

// times returns when the captures of a run were made, seconds on a clock of the
// run, of which the drift is a function. The samples' clock counts; where it starts anew
// at each capture, the time of day; where that stands still too, as with
// readings logged elsewhere, the order.
func times(r *logbook.Run, caps []logbook.Capture) []float64 {
	out := make([]float64, len(caps))
	switch {
	case !restarts(caps):
		for i, c := range caps {
			if n := len(c.Samples); n > 0 {
				out[i] = (c.Samples[0].TS + c.Samples[n-1].TS) / 2
			}
		}
	case slices.IsSortedFunc(caps, func(a, b logbook.Capture) int { return a.Time.Compare(b.Time) }) && caps[len(caps)-1].Time.After(caps[0].Time.Add(visitS*time.Second)):
		for i, c := range caps {
			out[i] = c.Time.Sub(r.Header.Started).Seconds()
		}
	default:
		for i := range caps {
			out[i] = visitS * float64(i)
		}
	}
	return out
}

// restarts reports whether the samples' clock starts anew in some capture.
func restarts(caps []logbook.Capture) bool {
	last := math.Inf(-1)
	for _, c := range caps {
		if len(c.Samples) == 0 {
			continue
		}
		if c.Samples[0].TS < last {
			return true
		}
		last = c.Samples[len(c.Samples)-1].TS
	}
	return false
}

// reading is one capture as a vector, craft frame.
type reading struct {
	run       *logbook.Run
	Capture   logbook.Capture
	Ts        float64
	B         r3.Vec
	Cov       magmath.Mat3
	pulsed    bool
	Off       bool // the off level of a pulsed capture: the unpowered craft
	Saturated bool
}

// locate turns the captures of a run that is not pulsed into vectors. A
// capture that cannot be used is left out and named in the notes.
func locate(ctx context.Context, r *logbook.Run, rangeUT float64) (out []reading, notes []remark.Remark) {
	f, caps := r.Header.Frame(), r.Valid()
	when := times(r, caps)
	for i, c := range caps {
		if ctx.Err() != nil {
			break
		}
		e, err := dwell.Locate(ctx, c.Series(f), dwell.Options{})
		if err != nil {
			notes = append(notes, leftOut(r, c, err))
			continue
		}
		why, saturated := c.AtFullScale(rangeUT)
		if saturated {
			notes = append(notes, why.At(placeOf(r, c)))
		}
		out = append(out, reading{run: r, Capture: c, Ts: when[i], B: e.Mean, Cov: widened(e.Cov, e.DF), Saturated: saturated})
	}
	return out, notes
}

// widened makes a covariance of few degrees of freedom the wider one whose
// normal intervals are about those of Student's t: times df/(df-2), at most
// threefold.
func widened(cov magmath.Mat3, df float64) magmath.Mat3 {
	if !(df > 3) {
		return cov.Scale(3)
	}
	return cov.Scale(df / (df - 2))
}

// placeOf returns the place of a remark on a capture.
func placeOf(r *logbook.Run, c logbook.Capture) remark.Place {
	return remark.Place{Run: r.Header.Run, Capture: c.Number, Station: c.Station}
}

func leftOut(r *logbook.Run, c logbook.Capture, err error) remark.Remark {
	return remark.New("evaluate.capture_left_out", remark.Values{"cause": err}).At(placeOf(r, c))
}

// medianOr returns the median of x, or otherwise if x is empty; x is not modified.
func medianOr(x []float64, otherwise float64) float64 {
	if len(x) == 0 {
		return otherwise
	}
	return magmath.Median(slices.Clone(x))
}

// remarkCopies names captures that hold the very samples of another: noise
// never repeats itself, so that one was copied.
func (e *evaluation) remarkCopies() {
	type print struct {
		n                   int
		first, middle, last r3.Vec
	}
	seen := map[print]reading{}
	for _, r := range e.readings {
		s := r.Capture.Samples
		n := len(s)
		if r.Off || n < 10 || s[0].B == s[n/2].B {
			continue
		}
		key := print{n, s[0].B, s[n/2].B, s[n-1].B}
		if o, ok := seen[key]; ok {
			e.f.note(remark.New("evaluate.copied", remark.Values{
				"of_run": o.run.Header.Run, "of_capture": o.Capture.Number, "of_station": o.Capture.Station,
			}).At(placeOf(r.run, r.Capture)))
			return
		}
		seen[key] = r
	}
}
