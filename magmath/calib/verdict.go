package calib

import (
	"maps"
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
)

// judge adds the refusals and remarks.
func (w *work) judge() {
	if len(w.res.Refusals) > 0 && len(w.res.Changes) > 0 {
		return // a fit to two conditions means nothing
	}
	if w.final == nil {
		w.refuseShape()
		return
	}
	shapeless := !w.tells || w.spread() < hardly
	if !shapeless {
		w.scale()
	}
	switch {
	case shapeless || w.res.ErrorUT > w.o.MaxErrorUT:
		w.refuseShape()
	case w.oneSided():
		w.refuseOneSided()
	case w.final.s > hopeless*w.o.ReferenceUT:
		w.res.refuse(w.noisyRemark(noisyHopeless, w.final.s))
	case w.atBound():
		w.res.refuse(noEllipsoid())
	}
	w.spikes()
	if worse := w.res.Prior.Gain > 1.01*w.o.Prior.Gain; worse || w.res.Prior.Gain < 0.99*w.o.Prior.Gain {
		w.res.remark(remark.New("calib.prior", remark.Values{"worse": worse, "gain_percent": 100 * w.res.Prior.Gain, "cross": w.res.Prior.Cross}))
	}
}

// refuseShape refuses with the reason why the error is too large, found in the
// shape of the readings.
func (w *work) refuseShape() {
	switch {
	case w.spread() < hardly:
		w.res.refuse(remark.New("calib.still", w.withTurn(remark.Values{})))
	case !w.tells || w.flat < 0.12:
		w.res.refuse(remark.New("calib.flat", w.withTurn(remark.Values{})))
	case w.oneSided() || w.final == nil:
		w.refuseOneSided()
	case w.base.s > noisy*w.o.ReferenceUT:
		w.res.refuse(w.noisyRemark(noisyScatter, w.base.s))
	default:
		w.res.refuse(w.noisyRemark(noisyUncertain, w.base.s))
	}
}

// allRound is the share of the sphere from which on a rotation does not count as
// one-sided, whatever its gaps: a one-sided rotation shows a hemisphere at most.
// A hemisphere without any gap enters 57 to 65 % of the cells (see the tests),
// since the cells on its rim count whole; a hand leaves gaps. Common practice, no
// source.
const allRound = 0.6

// oneSided reports whether too few of the attitudes to be flown were shown.
func (w *work) oneSided() bool {
	return w.res.AttitudesCovered < w.wanted() && w.res.SphereCovered < allRound
}

func (w *work) refuseOneSided() {
	w.res.refuse(remark.New("calib.one-sided", w.withTurn(remark.Values{"shown": w.res.AttitudesCovered, "wanted": w.wanted()})))
}

// wanted returns the share of the attitudes that must have been shown. It is less
// where every attitude counts: there the error of the fit decides. Common
// practice, no source.
func (w *work) wanted() float64 {
	if w.o.any() {
		return 0.55
	}
	return 0.7
}

// noisy is the scatter, as a share of the field, above which something other than
// the probe is noisy.
const noisy = 0.04

// hopeless is the scatter, as a share of the field, above which nothing is
// accepted.
const hopeless = 0.15

// hardly is the spread of a cap of directions 20 degrees about its middle.
const hardly = 0.34

// The spread of the readings is a quantile, so that outliers do not make a probe
// look turned, and is not measured by a sphere from which the readings scatter by
// more than a share of its radius. Common practice, no source.
const (
	nearShare    = 0.9
	missesSphere = 0.1
)

// spread returns the distance from their middle within which nine in ten readings
// lie, over the radius: 1 on a sphere. Where the readings are a patch, whose own
// sphere is as small as the patch, the reference stands for the radius.
func (w *work) spread() float64 {
	middle := magmath.MedianVec(w.x)
	d := make([]float64, len(w.x))
	for i, v := range w.x {
		d[i] = r3.Norm(r3.Sub(v, middle))
	}
	radius := w.radius
	if w.k == 1 {
		radius = w.o.ReferenceUT
	}
	if !w.tells || w.base.s > missesSphere*radius {
		radius = max(radius, w.k*w.o.ReferenceUT)
	}
	return magmath.Quantile(d, nearShare) / radius
}

func (w *work) atBound() bool {
	l := eigenvalues(w.final.matrix())
	return l[0] <= 0.051 || l[2] >= 0.99*maxCondition*l[0]
}

// scale refuses readings that cannot be microtesla, and remarks on a strength off
// the reference.
func (w *work) scale() {
	r := w.res.Ratio
	off := math.Abs(math.Log(r))
	switch {
	case r == 0:
	case off > math.Log(2):
		w.res.refuse(remark.New("calib.scale", remark.Values{"ratio": r, "unit": true, "unit_ut": 1 / r}))
	case off > 0.25:
		w.res.remark(remark.New("calib.scale", remark.Values{"ratio": r, "unit": false, "unit_ut": 1 / r}))
	case w.o.Scale == FromProbe && math.Abs(w.res.FieldUT-w.o.ReferenceUT) > 2*max(w.o.ReferenceStandardUT, w.res.FieldStandardUT):
		w.res.remark(remark.New("calib.room", remark.Values{"scaled": false, "ratio": r, "field_ut": w.res.FieldUT, "reference_ut": w.o.ReferenceUT}))
	case w.o.Scale == FromReference && off > 0.12:
		w.res.remark(remark.New("calib.room", remark.Values{"scaled": true, "ratio": r, "field_ut": w.res.FieldUT, "reference_ut": w.o.ReferenceUT}))
	}
}

func (w *work) spikes() {
	if w.res.NoiseUT > noisy*w.o.ReferenceUT {
		w.res.remark(w.noisyRemark(noisyUsable, w.res.NoiseUT))
	}
	n := w.res.Rejected
	if n*50 > w.res.Samples && n > 3 {
		w.res.remark(remark.New("calib.spikes", remark.Values{"count": n, "of": w.res.Samples}))
	}
}

// finish sets Accepted and, if so, Chosen.
func (w *work) finish() {
	w.res.Accepted = len(w.res.Refusals) == 0
	if w.res.Accepted {
		w.res.Chosen = w.chosen()
	}
}

// chosen returns why that many parameters were fitted: as asked for, the least
// expected error, or the fewest whose error is as good as the least.
func (w *work) chosen() remark.Remark {
	chosen := bestOf(w.res.Candidates, w.memory.effective)
	fewest := false
	var tried []int
	var total []float64
	for _, c := range w.res.Candidates {
		tried, total = append(tried, c.Parameters), append(total, c.TotalUT)
		fewest = fewest || c.TotalUT < chosen.TotalUT
	}
	return remark.New("calib.chosen", remark.Values{
		"parameters": w.res.Parameters, "asked": w.o.Parameters == w.res.Parameters, "fewest": fewest,
		"candidates": tried, "total_ut": total,
		"prior_gain_percent": 100 * w.res.Prior.Gain, "prior_cross": w.res.Prior.Cross,
	})
}

// noEllipsoid returns the refusal of readings that no ellipsoid within the bounds
// of M fits.
func noEllipsoid() remark.Remark {
	return remark.New("calib.distorted", remark.Values{"most_condition": maxCondition})
}

// The reasons of the remark "calib.noisy".
const (
	noisyHopeless  = "hopeless"  // the scatter is that of no sphere at all
	noisyScatter   = "scatter"   // the scatter makes the error too large
	noisyUncertain = "uncertain" // the error is too large for another reason
	noisyUsable    = "usable"    // the scatter is large, the error is not
)

// noisyRemark returns the remark on a scatter of the readings about the
// ellipsoid, microtesla.
func (w *work) noisyRemark(reason string, scatterUT float64) remark.Remark {
	return remark.New("calib.noisy", w.withTurn(remark.Values{
		"reason": reason, "scatter_ut": scatterUT, "error_ut": w.res.ErrorUT, "most_error_ut": w.o.MaxErrorUT}))
}

// withTurn adds the turn into the largest gap to v: the values of Hint.Remark,
// with an angle of 0 where there is none.
func (w *work) withTurn(v remark.Values) remark.Values {
	turn := Hint{}
	if w.res.Gap != nil {
		turn = *w.res.Gap
	}
	maps.Copy(v, turn.values())
	return v
}
