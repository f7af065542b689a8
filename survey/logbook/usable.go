package logbook

import (
	"context"

	"quietmount/magmath/dwell"
	"quietmount/magmath/remark"
)

// NoneUsable reports whether the evaluation would leave out every capture of r, and
// why: the cause of the first. rangeUT is the full scale of the probe, 0 where none
// is stated. A run without captures has nothing to leave out.
func (r *Run) NoneUsable(ctx context.Context, rangeUT float64) (remark.Remark, bool) {
	all := r.Valid()
	if len(all) == 0 {
		return remark.Remark{}, false
	}
	var first error
	keep := func(err error) bool {
		if first == nil {
			first = err
		}
		return err == nil
	}
	clipped := 0
	for i := range all {
		if _, full := all[i].AtFullScale(rangeUT); full {
			clipped++
		}
	}
	if clipped == len(all) {
		return remark.New("logbook.none_usable:full_scale", remark.Values{"captures": len(all), "range_ut": rangeUT}), true
	}
	if r.Header.Pulsed {
		p, err := r.Pulses(ctx)
		if err == nil {
			for _, s := range p.Series {
				if keep(dwell.Usable(s, p.Lag, p.Options)) {
					return remark.Remark{}, false
				}
			}
		}
		keep(err)
	} else {
		f := r.Header.Frame()
		for i := range all {
			if keep(all[i].Series(f).Check()) {
				return remark.Remark{}, false
			}
		}
	}
	if first == nil || ctx.Err() != nil {
		return remark.Remark{}, false
	}
	return remark.New("logbook.none_usable", remark.Values{"captures": len(all), "cause": first}), true
}
