package evaluate

import (
	"math"
	"slices"

	"quietmount/magmath/remark"
	"quietmount/survey"
	"quietmount/survey/logbook"
)

// setup is the runs of one session with the nose in one direction, whose fields can
// be subtracted directly.
type setup struct {
	Session string
	Nose    *float64
	runs    []*logbook.Run
}

// borrowedOffsetUT is how far runs of two sessions may lie apart before base
// returns say better.
const borrowedOffsetUT = 3

// setups groups the runs by session and direction of the nose.
func setups(runs []*logbook.Run) []*setup {
	var out []*setup
	for _, r := range runs {
		i := slices.IndexFunc(out, func(s *setup) bool {
			return s.Session == r.Header.Session && !logbook.NosesDiffer(s.Nose, r.Header.NoseDeg)
		})
		if i < 0 {
			out = append(out, &setup{Session: r.Header.Session, Nose: r.Header.NoseDeg})
			i = len(out) - 1
		}
		if out[i].Nose == nil {
			out[i].Nose = r.Header.NoseDeg
		}
		out[i].runs = append(out[i].runs, r)
	}
	return out
}

func (s *setup) has(what func(logbook.Header) bool) bool {
	return slices.ContainsFunc(s.runs, func(r *logbook.Run) bool { return what(r.Header) })
}

func isBackground(h logbook.Header) bool { return h.State == survey.StateBackground }

func needsBackground(h logbook.Header) bool { return !isBackground(h) }

// borrow joins set-ups without a background to one that has one with the nose in
// the same direction. It returns the set-ups, the runs that borrowed and remarks.
func borrow(all []*setup) (joined []*setup, borrowed []*logbook.Run, notes []remark.Remark) {
	for _, s := range all {
		if s.has(isBackground) || !s.has(needsBackground) {
			joined = append(joined, s)
			continue
		}
		i := slices.IndexFunc(all, func(o *setup) bool { return o.has(isBackground) && !logbook.NosesDiffer(o.Nose, s.Nose) })
		if i < 0 {
			joined = append(joined, s)
			if slices.ContainsFunc(all, func(o *setup) bool { return o.has(isBackground) }) {
				notes = append(notes, remark.New("evaluate.no_background", remark.Values{"session": s.Session, "nose_deg": s.noseDeg()}))
			}
			continue
		}
		notes = append(notes, remark.New("evaluate.background_borrowed", remark.Values{
			"session": s.Session, "nose_deg": s.noseDeg(), "of_session": all[i].Session, "of_nose_deg": all[i].noseDeg(),
		}))
		all[i].runs = append(all[i].runs, s.runs...)
		borrowed = append(borrowed, s.runs...)
	}
	return joined, borrowed, notes
}

// noseDeg returns the direction of the nose, NaN where it is not known.
func (s *setup) noseDeg() float64 {
	if s.Nose == nil {
		return math.NaN()
	}
	return *s.Nose
}
