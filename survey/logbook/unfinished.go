package logbook

// Newest returns the newest run of a state (of any state if it is empty); nil if
// there is none. runs are in the order of their numbers.
func Newest(runs []*Run, state string) *Run {
	var newest *Run
	for _, r := range runs {
		if state == "" || r.Header.State == state {
			newest = r
		}
	}
	return newest
}

// Unfinished returns the run of a state (of any state if it is empty) that
// ResumeRun would open: the newest without an end note; if all have one, the
// newest; nil if there is none. Imported runs, and those of a failed proof, cannot be
// resumed. runs are in
// the order of their numbers.
func Unfinished(runs []*Run, state string) *Run {
	return unfinished(runs, func(r *Run) *Run {
		if r.Header.Imported || r.Failed() != nil || state != "" && r.Header.State != state {
			return nil
		}
		return r
	})
}

// unfinished chooses among all of which runOf returns a run.
func unfinished[T any](all []T, runOf func(T) *Run) T {
	var newest, open T
	found := false
	for _, v := range all {
		r := runOf(v)
		if r == nil {
			continue
		}
		newest = v
		if !r.Ended {
			open, found = v, true
		}
	}
	if found {
		return open
	}
	return newest
}
