package report

import (
	"io"

	"quietmount/survey/findings"
)

// RoomAnswer is the answer of `room`.
type RoomAnswer struct {
	OK          bool     `json:"ok"`
	Captures    int      `json:"captures"`
	RangeUT     *float64 `json:"range_ut"`
	PerHundred  *float64 `json:"gradient_ut_per_100mm"`
	StrengthUT  *float64 `json:"magnitude_ut"`
	ReferenceUT *float64 `json:"reference_ut"`
	Ratio       *float64 `json:"ratio"`
	WanderUT    *float64 `json:"base_change_ut"`
	MisfitP     *float64 `json:"smooth_p_value"`
	Why         []string `json:"why"`
}

// NewRoomAnswer carries the judgement of a bench into its JSON form.
func NewRoomAnswer(f *findings.Findings, b findings.BenchFit) RoomAnswer {
	return RoomAnswer{
		OK: b.Fit, Captures: b.Captures,
		RangeUT: number(b.RangeUT), PerHundred: number(b.PerHundred),
		StrengthUT: number(b.StrengthUT), ReferenceUT: number(f.Reference.F / 1000), Ratio: number(b.Ratio),
		WanderUT: number(b.WanderUT), MisfitP: number(b.MisfitP), Why: append([]string{}, b.Why...),
	}
}

// Text says the same for a reader.
func (a RoomAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	p.line("background from %s", counted(a.Captures, "capture"))
	p.line("  over the craft   %s uT between its farthest points, at most %s uT in 100 mm", shown(a.RangeUT, 1), shown(a.PerHundred, 2))
	p.line("  strength         %s uT, the reference field is %s uT, ratio %s", shown(a.StrengthUT, 1), shown(a.ReferenceUT, 1), shown(a.Ratio, 3))
	if a.WanderUT != nil {
		p.line("  in time          the base came back within %s uT", shown(a.WanderUT, 1))
	}
	for _, why := range a.Why {
		p.line("  look: %s", why)
	}
	p.line("%s", yesNo(a.OK, "This bench is fit to measure on.", "This bench is not fit as it is."))
	return p.failed()
}
