package compare

import (
	"slices"

	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/logbook"
)

// Sides picks the runs that two surveys of a craft rest on, given those named
// for each. A side is the named runs and what goes with them: the backgrounds
// of their set-ups (session and nose), and, for the verdict, what else was
// measured in their sessions, but for runs of a state that is named already.
// Where both sides share a session, its other runs belong to the side before
// if they are older than all named after, else to the side after; backgrounds
// serve both.
func Sides(all, before, after []*logbook.Run) (left, right []*logbook.Run) {
	left, right = slices.Clone(before), slices.Clone(after)
	first := firstRun(after)
	shared := false
	for _, b := range before {
		shared = shared || sharesSession(b, after)
	}
	for _, r := range all {
		named := slices.Contains(before, r) || slices.Contains(after, r)
		if named || r.Header.Proof {
			continue
		}
		background := r.Header.State == survey.StateBackground
		if sharesSession(r, before) && goesWith(r, before) && (background || !shared || r.Header.Run < first) {
			left = append(left, r)
		}
		if sharesSession(r, after) && goesWith(r, after) && (background || !shared || r.Header.Run > first) {
			right = append(right, r)
		}
	}
	byNumber := func(a, b *logbook.Run) int { return a.Header.Run - b.Header.Run }
	slices.SortStableFunc(left, byNumber)
	slices.SortStableFunc(right, byNumber)
	return left, right
}

func firstRun(runs []*logbook.Run) int {
	first := 0
	for i, r := range runs {
		if i == 0 || r.Header.Run < first {
			first = r.Header.Run
		}
	}
	return first
}

func sharesSession(r *logbook.Run, with []*logbook.Run) bool {
	return slices.ContainsFunc(with, func(o *logbook.Run) bool {
		return o.Header.Session == r.Header.Session && !evaluate.NoseDiffer(o.Header.NoseDeg, r.Header.NoseDeg)
	})
}

// goesWith reports whether the named runs lack a run of this state.
func goesWith(r *logbook.Run, named []*logbook.Run) bool {
	return !slices.ContainsFunc(named, func(o *logbook.Run) bool { return o.Header.State == r.Header.State })
}
