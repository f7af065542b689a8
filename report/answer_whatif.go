package report

import (
	"fmt"
	"io"

	"quietmount/survey/findings"
)

// WhatIfAnswer is the answer of `whatif`.
type WhatIfAnswer struct {
	Change []string `json:"change"` // what was tried, in words
	Notes  []string `json:"notes"`
	Advice string   `json:"advice"` // what to do once the change is real
	// OldBest is the first spot of before as it would be after.
	OldBest *spotAnswer `json:"old_best_after"`
	Before  RankAnswer  `json:"before"`
	After   RankAnswer  `json:"after"`
}

// NewWhatIfAnswer puts two rankings side by side.
func NewWhatIfAnswer(change, notes []string, before, after *findings.Findings, was, now *findings.Ranking) WhatIfAnswer {
	a := WhatIfAnswer{
		Change: append([]string{}, change...), Notes: append([]string{}, notes...), Advice: remeasure,
		Before: NewRankAnswer(before, was), After: NewRankAnswer(after, now),
	}
	if len(was.Spots) > 0 {
		a.OldBest = new(spotAnswerOf(after.Suffered(was.Spots[0])))
	}
	return a
}

// remeasure: only new captures can show what a change really did.
const remeasure = "This is a forecast from the fitted sources: nothing was measured anew. After a real change walk the stations again, compare, and rank from the new runs."

// sideBySide is how many spots of each ranking are shown.
const sideBySide = 5

// Text prints the best spots of both rankings beside each other.
func (a WhatIfAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	p.sentence(fmt.Sprintf("%s, %s. What if: %s. Nothing on disk is changed.", named(a.Before.Craft), a.Before.Date, listed(a.Change)))
	p.line("")
	t := table{head: [][]string{
		{"", "before", "", "", "", "after", "", "", ""},
		{"spot", "x", "y", "shifting", "steady", "x", "y", "shifting", "steady"},
		{"", "mm", "mm", "95 % deg", "95 % uT", "mm", "mm", "95 % deg", "95 % uT"},
	}}
	for i := range min(sideBySide, max(len(a.Before.Spots), len(a.After.Spots))) {
		row := []string{fmt.Sprint(i + 1)}
		t.rows = append(t.rows, append(append(row, shortSpot(a.Before.Spots, i)...), shortSpot(a.After.Spots, i)...))
	}
	if len(t.rows) > 0 {
		for _, l := range t.lines() {
			p.line("%s", l)
		}
		p.line("")
	}
	p.sentence("Before: " + a.Before.Verdict())
	p.sentence("After: " + a.After.Verdict())
	if old := a.OldBestWords(); old != "" {
		p.sentence(old)
	}
	for _, n := range a.Notes {
		p.sentence("Note: " + n)
	}
	p.sentence(a.Advice)
	for _, s := range a.Before.Warnings {
		p.sentence("Caution: " + s)
	}
	return p.failed()
}

func shortSpot(all []spotAnswer, i int) []string {
	if i >= len(all) {
		return []string{"-", "-", "-", "-"}
	}
	s := all[i]
	return []string{fmt.Sprintf("%.0f", s.Xmm), fmt.Sprintf("%.0f", s.Ymm), degreesOf(s.Shifting)[1], microteslaOf(s.SteadyUT)[1]}
}

// OldBestWords say what the old first spot would suffer; empty where there was
// none.
func (a WhatIfAnswer) OldBestWords() string {
	o := a.OldBest
	if o == nil || o.Shifting == nil {
		return ""
	}
	return fmt.Sprintf("The old spot 1 would then have up to %s degrees of shifting error, and up to %s uT of steady disturbance.", Degrees(o.Shifting.Upper95), microteslaOf(o.SteadyUT)[1])
}
