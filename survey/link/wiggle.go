package link

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath"
	"quietmount/magmath/remark"
	"quietmount/survey"
)

// Mark is a moment at which the operator began or ended to move the probe's
// lead or its board.
type Mark struct {
	TS     float64 // on the clock of the samples
	Moving bool
}

// WiggleResult is whether and by how much moving the lead or the board changes
// the field.
type WiggleResult struct {
	Shows    bool
	ShiftUT  float64       // shift of the field while being moved, beyond its scatter at rest
	StillUT  float64       // 95 % quantile of the departures at rest
	MovingUT float64       // likewise while being moved
	Says     remark.Remark // "link.wiggle"
}

// wiggleLimitUT is a departure that would matter on a map: common practice, no
// source.
const wiggleLimitUT = 0.5

// Wiggle compares the field while the lead or the board is moved with the still
// periods before and after. Departures are counted from a straight line through
// the medians of the still periods, so that drift does not count. The 95 %
// quantile of their magnitudes is compared: so that a change that comes only
// now and then counts too. Shows is set if the excess is over 0.5 uT and over
// half of the still value. At least 20 changed samples of each are needed.
func Wiggle(samples []survey.Sample, marks []Mark) (WiggleResult, error) {
	periods := split(samples, marks)
	base := baseline(periods)
	var still, moving []float64
	for _, p := range periods {
		for _, s := range p.samples {
			d := r3.Norm(r3.Sub(s.B, base(s.TS)))
			if p.moving {
				moving = append(moving, d)
			} else {
				still = append(still, d)
			}
		}
	}
	const fewest = 20
	if len(still) < fewest || len(moving) < fewest {
		return WiggleResult{}, fmt.Errorf("%d samples at rest and %d while moved; it takes %d of each: hold still for some seconds, then move for some seconds", len(still), len(moving), fewest)
	}
	r := WiggleResult{StillUT: magmath.Quantile(still, 0.95), MovingUT: magmath.Quantile(moving, 0.95)}
	r.ShiftUT = math.Sqrt(max(0, r.MovingUT*r.MovingUT-r.StillUT*r.StillUT))
	r.Shows = r.ShiftUT > max(wiggleLimitUT, 0.5*r.StillUT) && r.MovingUT > 1.3*r.StillUT
	r.Says = remark.New("link.wiggle", remark.Values{"shows": r.Shows, "shift_ut": r.ShiftUT, "moving_ut": r.MovingUT, "still_ut": r.StillUT})
	return r, nil
}

type period struct {
	moving  bool
	samples []survey.Sample
}

// split cuts the samples at the marks; repeats of a vector are left out.
func split(samples []survey.Sample, marks []Mark) []period {
	marks = slices.Clone(marks)
	slices.SortStableFunc(marks, func(a, b Mark) int { return cmp.Compare(a.TS, b.TS) })
	out := []period{{}}
	for i, s := range samples {
		for len(marks) > 0 && s.TS >= marks[0].TS {
			out = append(out, period{moving: marks[0].Moving})
			marks = marks[1:]
		}
		if i == 0 || s.B != samples[i-1].B {
			p := &out[len(out)-1]
			p.samples = append(p.samples, s)
		}
	}
	return out
}

// baseline returns the straight line between the medians of the still periods,
// level beyond the first and the last.
func baseline(periods []period) func(ts float64) r3.Vec {
	var at []float64
	var b []r3.Vec
	for _, p := range periods {
		if p.moving || len(p.samples) == 0 {
			continue
		}
		at = append(at, (p.samples[0].TS+p.samples[len(p.samples)-1].TS)/2)
		b = append(b, magmath.MedianVec(fieldsOf(p.samples)))
	}
	return func(ts float64) r3.Vec {
		i, _ := slices.BinarySearch(at, ts)
		switch {
		case len(at) == 0:
			return r3.Vec{}
		case i == 0:
			return b[0]
		case i == len(at):
			return b[i-1]
		}
		w := (ts - at[i-1]) / (at[i] - at[i-1])
		return r3.Add(b[i-1], r3.Scale(w, r3.Sub(b[i], b[i-1])))
	}
}

func fieldsOf(samples []survey.Sample) []r3.Vec {
	b := make([]r3.Vec, len(samples))
	for i, s := range samples {
		b[i] = s.B
	}
	return b
}
