package compare

import (
	"slices"

	"quietmount/survey"
	"quietmount/survey/logbook"
)

// SelectRuns returns the runs that each of two surveys rests on, given all runs
// and those named for each. With the named runs go the backgrounds of their
// set-ups (session and nose) and, for the verdict, the other runs of their
// sessions whose state is not named already. If both surveys share a session, its
// other runs belong to the survey before if they are older than all named after,
// and else to the survey after; backgrounds serve both.
func SelectRuns(all, before, after []*logbook.Run) (left, right []*logbook.Run) {
	left, right = slices.Clone(before), slices.Clone(after)
	first := 0
	for i, r := range after {
		if i == 0 || r.Header.Run < first {
			first = r.Header.Run
		}
	}
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

// sharesSession reports whether a run has session and nose of one of others.
func sharesSession(r *logbook.Run, others []*logbook.Run) bool {
	return slices.ContainsFunc(others, func(o *logbook.Run) bool {
		return o.Header.Session == r.Header.Session && !logbook.NosesDiffer(o.Header.NoseDeg, r.Header.NoseDeg)
	})
}

// goesWith reports whether the named runs lack a run of this state.
func goesWith(r *logbook.Run, named []*logbook.Run) bool {
	return !slices.ContainsFunc(named, func(o *logbook.Run) bool { return o.Header.State == r.Header.State })
}
