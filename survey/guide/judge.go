package guide

import (
	"context"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// verdict is the guide's judgement of a dwell.
type verdict struct {
	refusal     remark.Remark // why it is refused; zero: it counts
	b           r3.Vec        // craft frame, microtesla; of a pulsed dwell with the load off
	uncertainty float64
	noise       float64 // spread of one reading, an axis
	difference  *r3.Vec // on minus off
	remarks     []Event
}

func refuse(why remark.Remark) verdict { return verdict{refusal: why} }

func (v verdict) refused() bool { return !v.refusal.IsZero() }

// judge applies the capture rules to the dwell that has just ended.
func (w *Walk) judge() verdict {
	d := &w.dwell
	if v := w.saturated(d); v.refused() {
		return v
	}
	if len(d.samples) < w.rules.FewSamples {
		return refuse(remark.New("guide.too-few", remark.Values{"readings": len(d.samples), "within_s": w.ts - d.start}))
	}
	if v := w.stuck(d.samples); v.refused() {
		return v
	}
	if w.cfg.Pulsed {
		return w.judgePulsed()
	}
	if v := w.changed(d); v.refused() {
		return v
	}
	return w.locate(timesOf(d.samples), d.b)
}

// locate returns the verdict on a dwell, or a part of one, in which the probe
// should be still.
func (w *Walk) locate(ts []float64, b []r3.Vec) verdict {
	// Some seconds of samples take milliseconds.
	est, err := dwell.Locate(context.Background(), dwell.Series{TS: ts, B: b}, dwell.Options{})
	if err != nil {
		return refuse(remark.New("guide.too-few:error", remark.Values{"error": err.Error()}))
	}
	v := verdict{b: est.Mean, uncertainty: math.Sqrt(est.Cov.Trace() / 3)}
	v.noise = rms(est.SpreadUT)
	noise := rms(w.still.State().FloorUT)
	if w.dwell.restLost && !w.cfg.Pulsed && v.noise > 4*noise+0.3 {
		return refuse(remark.New("guide.unsteady:spread", remark.Values{"spread_ut": v.noise, "at_rest_ut": noise}))
	}
	v.remarks = w.remarks(est, ts[len(ts)-1]-ts[0])
	return v
}

// Limits of the statistics of a dwell beyond which the guide remarks on them;
// common practice, no source.
const (
	manySpikes  = 0.1   // of the readings
	surelyDrift = 0.001 // probability of such a slope by chance
)

// remarks returns the remarks on an accepted dwell.
func (w *Walk) remarks(est dwell.Estimate, seconds float64) []Event {
	if est.RepeatedFraction == 1 {
		return []Event{warn(remark.New("guide.no-noise"))}
	}
	var out []Event
	if frac := float64(est.Spikes) / float64(est.N); frac > manySpikes {
		out = append(out, warn(remark.New("guide.spikes", remark.Values{"fraction": frac})))
	}
	if by := r3.Norm(est.Drift) * seconds; est.DriftP < surelyDrift && by > w.rules.ChangeUT/2 {
		out = append(out, warn(remark.New("guide.drift", remark.Values{"by_ut": by})))
	}
	return out
}

func rms(v r3.Vec) float64 { return r3.Norm(v) / math.Sqrt(3) }

func timesOf(samples []survey.Sample) []float64 {
	ts := make([]float64, len(samples))
	for i, s := range samples {
		ts[i] = s.TS
	}
	return ts
}

var axisNames = [3]string{"x", "y", "z"}

func component(v r3.Vec, axis int) float64 { return [3]float64{v.X, v.Y, v.Z}[axis] }

// saturated refuses a dwell with too many readings at the probe's full scale.
func (w *Walk) saturated(d *dwellState) verdict {
	if w.cfg.Craft == nil {
		return verdict{}
	}
	full := w.cfg.Craft.MeasuringModule().RangeUT
	c := logbook.Capture{Samples: d.samples, Prompts: d.prompts}
	if at := c.FullScale(full); at.Unusable() {
		axis := at.Worst()
		return refuse(remark.New("guide.saturated", remark.Values{"axis": axisNames[axis], "b_ut": at.LastUT[axis], "range_ut": full}))
	}
	return verdict{}
}

// stuck refuses a dwell if the readings, or those of one axis while the others
// change, have been constant since the capture at another station. Constant
// readings within one dwell are no reason: a coarse sensor gives them.
func (w *Walk) stuck(samples []survey.Sample) verdict {
	last := w.lastRaw
	if last.station == "" || last.station == w.now.Station.Name {
		return verdict{}
	}
	if last.changed == [3]bool{} {
		return refuse(remark.New("guide.stuck", remark.Values{"since": last.station}))
	}
	for axis := range 3 {
		others := distinct(samples, (axis+1)%3) + distinct(samples, (axis+2)%3)
		if !last.changed[axis] && others >= 12 {
			return refuse(remark.New("guide.stuck:axis", remark.Values{"axis": axisNames[axis], "since": last.station}))
		}
	}
	return verdict{}
}

func distinct(samples []survey.Sample, axis int) int {
	seen := map[float64]bool{}
	for _, s := range samples {
		seen[component(s.B, axis)] = true
	}
	return len(seen)
}

// changed refuses a dwell during which the field changed by more than the
// rules allow. The magnitude, which a turn does not change, distinguishes a moved
// probe from a changed field; in doubt, so does the accelerometer.
func (w *Walk) changed(d *dwellState) verdict {
	c, ok := dwell.Changed(dwell.Series{TS: timesOf(d.samples), B: d.b}, dwell.Options{})
	by := r3.Norm(c.By)
	if !ok || by < w.rules.ChangeUT {
		return verdict{}
	}
	from, to := c.FromTS-d.start, c.ToTS-d.start
	before, during := d.around(c.FromTS, c.ToTS, c.Shape == dwell.Drift)
	switch {
	case turnLike(before.b, during.b, 0.25), angleDeg(before.acc, during.acc) > tippedDeg && turnLike(before.b, during.b, 0.6):
		return refuse(remark.New("guide.moved", remark.Values{"after_s": from, "by_ut": by}))
	case c.Shape == dwell.Visit:
		return refuse(remark.New("guide.changed:back", remark.Values{"after_s": from, "until_s": to, "by_ut": by}))
	case c.Shape == dwell.Drift:
		return refuse(remark.New("guide.changed:drift", remark.Values{"by_ut": by}))
	}
	return refuse(remark.New("guide.changed", remark.Values{"after_s": from, "by_ut": by}))
}

// tippedDeg is a turn of the accelerometer that only handling explains.
const tippedDeg = 1.5

// around returns the levels outside and inside the stretch between two times;
// for a drift, those of the first and the last third of the dwell.
func (d *dwellState) around(from, to float64, drift bool) (outside, inside level) {
	var b [2][]r3.Vec
	var part [2][]survey.Sample
	third := (to - from) / 3
	for i, s := range d.samples {
		in := 0
		switch {
		case drift && s.TS > from+third && s.TS < to-third:
			continue
		case drift && s.TS >= to-third, !drift && s.TS >= from && s.TS <= to:
			in = 1
		}
		b[in], part[in] = append(b[in], d.b[i]), append(part[in], s)
	}
	return level{b: medianVec(b[0]), acc: medianAcc(part[0])}, level{b: medianVec(b[1]), acc: medianAcc(part[1])}
}

// level returns the median of a stretch of the dwell.
type level struct {
	b   r3.Vec
	acc r3.Vec // zero where none was sent
}

// turnLike reports whether a turn explains most of the change from a to b: the
// magnitude accounts for less than share of it.
func turnLike(a, b r3.Vec, share float64) bool {
	return math.Abs(r3.Norm(a)-r3.Norm(b)) < share*r3.Norm(r3.Sub(a, b))
}

// angleDeg returns the angle between two vectors; 0 if one is zero.
func angleDeg(a, b r3.Vec) float64 {
	if r3.Norm(a) == 0 || r3.Norm(b) == 0 {
		return 0
	}
	return math.Atan2(r3.Norm(r3.Cross(a, b)), r3.Dot(a, b)) * 180 / math.Pi
}

func medianAcc(samples []survey.Sample) r3.Vec {
	var acc []r3.Vec
	for _, s := range samples {
		if s.Has&survey.HasAcc != 0 {
			acc = append(acc, s.Acc)
		}
	}
	return medianVec(acc)
}

// medianVec returns the median of each component; zero for none.
func medianVec(v []r3.Vec) r3.Vec {
	if len(v) == 0 {
		return r3.Vec{}
	}
	return magmath.MedianVec(v)
}

// median returns the median of x, 0 for none. It sorts x in place.
func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	return magmath.Median(x)
}

// successiveNoise returns the standard deviation of one reading per axis, from
// the differences of successive readings, so that a change of level has no
// effect.
func successiveNoise(b []r3.Vec) float64 {
	var steps []float64
	for i := 1; i < len(b); i++ {
		d := r3.Sub(b[i], b[i-1])
		steps = append(steps, math.Abs(d.X), math.Abs(d.Y), math.Abs(d.Z))
	}
	// The median of |x| for a normal x is 0.6745 of its standard deviation.
	return median(steps) / 0.6745 / math.Sqrt2
}
