package answer

import (
	"context"
	"fmt"
	"io"
	"strings"

	"quietmount/magmath/remark"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// WhatIf is the answer of `whatif`.
type WhatIf struct {
	Change []string `json:"change"` // what was tried, in words
	Notes  []string `json:"notes"`
	Coded  []Coded  `json:"notes_coded"`
	Advice string   `json:"advice"` // what to do once the change is real
	// OldBest is the first spot of before as it would be after.
	OldBest *Spot `json:"old_best_after"`
	Before  Rank  `json:"before"`
	After   Rank  `json:"after"`
}

// NewWhatIf returns the rankings before and after a trial side by side, their remarks
// in the words of a face.
func NewWhatIf(ctx context.Context, face words.Face, trial Trial, notes []remark.Remark, before, after *evaluate.Findings, was, now *rank.Ranking) WhatIf {
	a := WhatIf{
		Change: append([]string{}, trial.Words...), Notes: face.All(notes), Coded: CodedAll(face, notes), Advice: remeasure,
		Before: NewRank(face, before, was), After: NewRank(face, after, now),
	}
	if trial.Changes.KeepField() {
		a.Advice = asMeasured
	}
	if len(was.Spots) > 0 {
		a.OldBest = new(SpotOf(rank.Rejudge(ctx, after, was.Spots[0])))
	}
	return a
}

// remeasure is the advice with every what-if: only new captures show what a change
// really did.
const remeasure = "This is a forecast from the fitted sources: nothing was measured anew. After a real change walk the stations again, compare, and rank from the new runs."

// asMeasured is the advice where only the places change at which the module may be
// mounted.
const asMeasured = "The map is as it was measured; only where the module may be mounted changes. Write the change into craft.toml to keep it."

// sideBySide is how many spots of each ranking are shown.
const sideBySide = 5

// Text prints the best spots of both rankings beside each other.
func (a WhatIf) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Sentence(fmt.Sprintf("%s, %s. What if: %s. Nothing on disk is changed.", say.Named(a.Before.Craft), a.Before.Date, say.Listed(a.Change)))
	p.Line("")
	t := text.Table{Head: [][]string{
		{"", "before", "", "", "shifting", "steady", "after", "", "", "shifting", "steady"},
		{"spot", "x", "y", "high", "95 %", "95 %", "x", "y", "high", "95 %", "95 %"},
		{"", "mm", "mm", "mm", "deg", "uT", "mm", "mm", "mm", "deg", "uT"},
	}}
	for i := range min(sideBySide, max(len(a.Before.Spots), len(a.After.Spots))) {
		row := []string{fmt.Sprint(i + 1)}
		t.Rows = append(t.Rows, append(append(row, shortSpot(a.Before.Spots, i)...), shortSpot(a.After.Spots, i)...))
	}
	if len(t.Rows) > 0 {
		p.Table(t)
		p.Line("")
	}
	p.Sentence(strings.TrimSpace(orderWords) + " The table shows the bounds that hold with 95 % certainty.")
	p.Sentence("Before: " + a.Before.Verdict())
	p.Sentence("After: " + a.After.Verdict())
	if old := a.OldBestWords(); old != "" {
		p.Sentence(old)
	}
	for _, n := range a.Notes {
		p.Sentence("Note: " + n)
	}
	p.Sentence(a.Advice)
	a.Before.Cautions.print(p)
	return p.Err()
}

func shortSpot(all []Spot, i int) []string {
	if i >= len(all) {
		return []string{"-", "-", "-", "-", "-"}
	}
	s := all[i]
	return []string{fmt.Sprintf("%.0f", s.Xmm), fmt.Sprintf("%.0f", s.Ymm), say.Short(s.HeightMM), DegreesOf(s.Shifting)[1], MicroteslaOf(s.SteadyUT)[1]}
}

// OldBestWords returns what a compass at the old first spot would suffer; nothing
// without one.
func (a WhatIf) OldBestWords() string {
	o := a.OldBest
	if o == nil || o.Shifting == nil {
		return ""
	}
	return fmt.Sprintf("The old spot 1 would then have up to %s degrees of shifting error, and up to %s uT of steady disturbance.", Degrees(o.Shifting.Upper95), MicroteslaOf(o.SteadyUT)[1])
}
