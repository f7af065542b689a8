package answer

import (
	"quietmount/report/say"
	"quietmount/survey"
)

// FromMark is where a place lies from a mark of the craft, whole millimetres; null
// where the mark is a line that does not fix that direction.
type FromMark struct {
	Mark    string          `json:"mark"` // the name of a station, or words
	Kind    survey.MarkKind `json:"kind"`
	AheadMM *float64        `json:"ahead_mm"` // negative: behind
	RightMM *float64        `json:"right_mm"` // negative: left
}

func fromMarks(all []survey.FromMark) []FromMark {
	out := []FromMark{}
	for _, m := range all {
		out = append(out, FromMark{say.MarkName(m), m.Kind, m.AheadMM, m.RightMM})
	}
	return out
}
