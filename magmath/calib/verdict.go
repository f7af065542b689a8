package calib

import (
	"fmt"
	"math"
	"strings"

	"quietmount/magmath"

	"gonum.org/v1/gonum/spatial/r3"
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
		w.res.refuse(CodeNoisy, fmt.Sprintf("the readings scatter by %s about the best ellipsoid, which is no sphere of directions at all: go away from iron, motors and mains, and see with listen what the probe sends", microtesla(w.final.s)))
	case w.atBound():
		w.res.refuse(CodeDistorted, fmt.Sprintf("no ellipsoid whose axes differ by less than %d to 1 fits: iron or a magnet is fixed close to the probe, or an axis is dead; look at it with listen", maxCondition))
	}
	w.spikes()
	if w.res.Prior.Gain > 1.01*w.o.Prior.Gain {
		w.res.remark(CodePrior, fmt.Sprintf("gains and cross terms are worse than stated: %.1f per cent and %.3f were assumed instead", 100*w.res.Prior.Gain, w.res.Prior.Cross))
	}
	if w.res.Prior.Gain < 0.99*w.o.Prior.Gain {
		w.res.remark(CodePrior, fmt.Sprintf("the readings show less distortion than stated: gains within %.1f per cent and cross terms of %.3f were assumed", 100*w.res.Prior.Gain, w.res.Prior.Cross))
	}
}

// refuseShape refuses with the reason why the error is too large, found in the
// shape of the readings.
func (w *work) refuseShape() {
	turn := ""
	if w.res.Gap != nil && w.res.Gap.Words != "" {
		turn = "; next, " + w.res.Gap.Words
	}
	switch {
	case w.spread() < hardly:
		w.res.refuse(CodeStill, "the probe was hardly turned: turn it slowly through all directions, like rolling a ball in the hand"+turn)
	case !w.tells || w.flat < 0.12:
		w.res.refuse(CodeFlat, "the probe was turned about one axis only, so the offset along that axis stays open: tip it nose down, nose up and on both sides as well"+turn)
	case w.oneSided() || w.final == nil:
		w.refuseOneSided()
	case w.base.s > noisy*w.o.ReferenceUT:
		w.res.refuse(CodeNoisy, fmt.Sprintf("the readings scatter by %s about the best ellipsoid: go away from iron, motors and mains, and turn the probe about its own middle", microtesla(w.base.s)))
	default:
		w.res.refuse(CodeNoisy, fmt.Sprintf("the corrected field would be uncertain by %s, more than %s: turn longer and through more directions%s",
			microtesla(w.res.ErrorUT), microtesla(w.o.MaxErrorUT), turn))
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
	turn := ""
	if w.res.Gap != nil && w.res.Gap.Words != "" {
		turn = ": " + w.res.Gap.Words + ", then go on"
	}
	w.res.refuse(CodeOneSided, fmt.Sprintf("the rotation was one-sided: %.0f %% of the attitudes to be flown were shown, %.0f %% are wanted%s", 100*w.res.AttitudesCovered, 100*w.wanted(), turn))
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
		w.res.refuse(CodeScale, fmt.Sprintf("the readings are %s times the reference field: they are hardly microtesla but counts, milligauss or gauss; say how many microtesla one unit is (about %.3g)", digits(r), 1/r))
	case off > 0.25:
		w.res.remark(CodeScale, fmt.Sprintf("the readings are %s times the reference field: the probe's range setting and its scale may not belong together", digits(r)))
	case w.o.Scale == FromProbe && math.Abs(w.res.FieldUT-w.o.ReferenceUT) > 2*max(w.o.ReferenceStandardUT, w.res.FieldStandardUT):
		w.res.remark(CodeRoom, fmt.Sprintf("the field here is %.1f uT in the probe's own units, the reference %.1f uT: iron in the building, or the probe's scale", w.res.FieldUT, w.o.ReferenceUT))
	case w.o.Scale == FromReference && off > 0.12:
		w.res.remark(CodeRoom, fmt.Sprintf("the readings are %s times the reference field and were scaled to it: is this place free of iron? Indoors take the scale from the probe", digits(r)))
	}
}

func digits(v float64) string { return fmt.Sprintf("%.3g", v) }

func (w *work) spikes() {
	if w.res.NoiseUT > noisy*w.o.ReferenceUT {
		w.res.remark(CodeNoisy, fmt.Sprintf("the readings scatter by %s about the sphere: a quieter place, away from iron, motors and mains, would do better", microtesla(w.res.NoiseUT)))
	}
	n := w.res.Rejected
	if n*50 > w.res.Samples && n > 3 {
		w.res.remark(CodeSpikes, fmt.Sprintf("%d of %d readings were wild and do not count: a loose lead, or something switching nearby", n, w.res.Samples))
	}
}

// finish sets Accepted and Why.
func (w *work) finish() {
	w.res.Accepted = len(w.res.Refusals) == 0
	if w.res.Accepted {
		w.res.Why = w.reason()
		return
	}
	var words []string
	for _, r := range w.res.Refusals {
		words = append(words, r.Text)
	}
	w.res.Why = strings.Join(words, "; ")
}

// reason names the parameters that were fitted and the reason.
func (w *work) reason() string {
	what := map[int]string{
		3: "offset only, the strength of the field taken as known",
		4: "offset and strength",
		6: "offset and three gains",
		9: "offset and a full symmetric matrix",
	}[w.res.Parameters]
	chosen := bestOf(w.res.Candidates, w.memory.effective)
	why := "the least expected error over the attitudes to be flown"
	var prices []string
	for _, c := range w.res.Candidates {
		prices = append(prices, c.words())
		if c.TotalUT < chosen.TotalUT {
			why = "the fewest whose expected error over the attitudes to be flown is as good as the least"
		}
	}
	if w.o.Parameters == w.res.Parameters {
		why = "as asked for; expected errors"
	}
	return fmt.Sprintf("%d parameters (%s): %s (%s), noise and, under the prior of %.1f %% gain and %.3f cross terms, what is left out",
		w.res.Parameters, what, why, strings.Join(prices, ", "), 100*w.res.Prior.Gain, w.res.Prior.Cross)
}
