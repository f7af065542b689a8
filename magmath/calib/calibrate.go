// Package calib calibrates a three-axis magnetometer. Calibrate takes readings
// of the probe turned through many directions in an undisturbed field, and
// options: the strength of the field, a prior of the probe, the attitudes that
// the craft flies. It returns a Result: an offset and a matrix with their
// covariance, or the reasons why the readings do not support them. Progress
// tracks the covered directions during the turn.
//
// Start reading at Calibrate.
//
// The model is corrected = M (raw - o): o is the offset (hard iron) in
// microtesla, M a symmetric positive definite matrix (gains, cross terms and
// soft iron); both are in sensor axes. The length of the field does not
// determine a rotation, so M contains none: calibration does not find the pose
// of the sensor in its case.
//
// The noise is in the raw readings. With y = M (raw - o) and u = y/|y| the
// residual of a reading is e = (|y| - F) / |M u|, to first order its distance
// from the ellipsoid in raw space. Without the denominator, a fit to readings
// from a part of the sphere shrinks the residuals by shrinking M.
//
// The number of parameters is chosen for the smallest error of the corrected
// field at the attitudes that the craft flies: variance plus squared bias of
// the parameters left out, under a stated prior. A refusal is a reason against
// the calibration, with its remedy; a remark is a warning about an accepted
// one.
package calib

import (
	"context"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// The smallest number of readings and the shortest time, seconds, that are
// fitted. Common practice, no source.
const (
	fewestReadings = 60
	shortestS      = 3.0
)

// Calibrate fits offset and matrix to samples, readings taken while the probe
// was turned, in order of time; samples is not modified. Readings that do not
// support a calibration are no error: Result.Refusals names the reasons and
// Accepted is false. The only error is that of ctx, returned within a second of
// its end.
//
// Where conditions changed and one stretch holds most of the readings, that
// stretch is used alone and the other readings count as rejected. Where rejected
// readings lie together in stretches, the fit is made again without those if most
// of the readings remain, and refused if not; a remark names them either way.
func Calibrate(ctx context.Context, samples []Sample, o Options) (Result, error) {
	w, err := calibrate(ctx, samples, o, true)
	if err != nil {
		return w.res, err
	}
	if w.main == nil {
		w, err = withoutStretches(ctx, w, samples, len(samples), o)
		return w.res, err
	}
	inside := between(samples, *w.main)
	part, err := calibrate(ctx, inside, o, false)
	if err != nil {
		return part.res, err
	}
	part, err = withoutStretches(ctx, part, inside, len(samples), o)
	r := part.res
	r.Rejected += len(samples) - len(inside)
	r.Samples = len(samples)
	r.Changes, r.Steady = w.res.Changes, w.res.Steady
	r.remark(changed(r.Changes, *w.main, true))
	return r, err
}

// calibrate makes one attempt; with watch it looks for changed conditions
// first. On an error what it returns is unfinished.
func calibrate(ctx context.Context, samples []Sample, o Options, watch bool) (*work, error) {
	data := clean(samples, o.RangeUT)
	w := &work{data: data, res: Result{
		Samples: len(samples), Repeated: data.repeated, Saturated: data.saturated,
		Rejected: data.bad, Matrix: magmath.Identity(), Scale: o.Scale, Prior: o.Prior,
	}}
	if !w.enough() {
		w.finish()
		return w, ctx.Err()
	}
	if !w.begin(ctx, o) {
		w.res.refuse(noEllipsoid())
		w.finish()
		return w, ctx.Err()
	}
	if watch && w.conditions(ctx) {
		return w, ctx.Err()
	}
	w.choose(ctx)
	w.fit(ctx)
	if err := ctx.Err(); err != nil {
		return w, err
	}
	w.state()
	w.judge()
	w.stretches()
	w.finish()
	return w, nil
}

// work is the state of one calibration. Its vectors x = k raw have lengths near
// the reference's.
type work struct {
	data   readings
	o      Options
	res    Result
	x      []r3.Vec
	k      float64
	flat   float64 // smallest standard deviation along any axis, over the radius
	thin   r3.Vec  // that axis
	radius float64
	base   *fit // nine parameters under a wide prior, nothing forgotten
	basep  problem
	final  *fit
	tells  bool             // the readings tell the final fit from its mirror image
	noise  float64          // variance of the noise of a reading
	memory correlation      // of that noise
	prior  [nShapes]float64 // variances of the shapes, for the choice
	wary   [nShapes]float64 // variances of the shapes, for the stated uncertainty
	design design
	cov    *mat.SymDense // of offset and shapes, scaled
	main   *Span         // the stretch that is enough on its own
	away   []Span        // the stretches in which rejected readings lie together
}

// enough refuses clipped readings, and reports whether there are enough
// readings for a fit.
func (w *work) enough() bool {
	n, span := len(w.data.x), w.data.spanS()
	// Stricter than for a capture (dwell.Clipping.Unusable), whose readings all
	// have one value: here those at full scale are the end of a stretch of
	// directions, and a missing stretch bends the fit. Own judgement, no source.
	if w.data.saturated > 0 && w.data.saturated*200 >= w.res.Samples {
		w.res.refuse(remark.New("calib.saturated", remark.Values{"count": w.data.saturated, "of": w.res.Samples}))
	}
	if n < fewestReadings || span < shortestS {
		w.res.refuse(remark.New("calib.short", remark.Values{"readings": n, "span_s": span, "least_readings": fewestReadings, "least_s": shortestS}))
	}
	return n >= fewestReadings && span >= shortestS
}
