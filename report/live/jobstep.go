package live

import (
	"strings"

	"quietmount/survey"
	"quietmount/survey/progress"
)

// Only this file searches the command lines and the texts of the job's steps, which
// carry no other mark of their place on the path.

// detailOf returns the detail of a step of the job. The detail of the choice names a
// flag once everything is measured; the page uses its own words.
func (b *bench) detailOf(s progress.Step, step string) string {
	if step == stepChoose && strings.Contains(s.Detail, "--") {
		return b.Words("path.keep_spot")
	}
	return s.Detail
}

// belongs reports whether a step of the job is part of a step of the path. Every
// walk adds to the map, so that the walks belong to it too.
func belongs(s progress.Step, step string) bool {
	word := ""
	if f := strings.Fields(s.Command); len(f) > 1 {
		word = f[1]
	}
	switch step {
	case stepDescribe:
		return word == "init" || word == "verify"
	case stepCalibrate: // of the probe, its axes too
		return word == "calibrate" && !strings.Contains(s.Command, " --on-craft") || word == "arrow" && strings.Contains(s.Command, " --store")
	case stepRoom:
		return s.State == survey.StateBackground
	case stepWalk, stepMap:
		return s.State != "" && s.State != survey.StateBackground
	case stepChoose:
		return word == "rank"
	case stepProve:
		return word == "prove"
	case stepGlue:
		return word == "swing" || word == "arrow" && !strings.Contains(s.Command, " --store") || strings.Contains(s.Command, " --on-craft")
	case stepFile:
		return word == "record"
	}
	return false
}
