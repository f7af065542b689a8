package answer

import (
	"io"

	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
)

// Room is the answer of `room`.
type Room struct {
	OK          bool     `json:"ok"`
	Captures    int      `json:"captures"`
	RangeUT     *float64 `json:"range_ut"`
	GradientUT  *float64 `json:"gradient_ut_per_100mm"`
	StrengthUT  *float64 `json:"magnitude_ut"`
	ReferenceUT *float64 `json:"reference_ut"`
	Ratio       *float64 `json:"ratio"`
	WanderUT    *float64 `json:"base_change_ut"`
	MisfitP     *float64 `json:"smooth_p_value"`
	Why         []string `json:"why"`
	Coded       []Coded  `json:"why_coded"`
}

// NewRoom returns the judgement of a bench in its JSON form, worded for a face.
func NewRoom(face words.Face, f *evaluate.Findings, b evaluate.BenchFit) Room {
	return Room{
		OK: b.Fit, Captures: b.Captures,
		RangeUT: Number(b.RangeUT), GradientUT: Number(b.GradientUT),
		StrengthUT: Number(b.StrengthUT), ReferenceUT: Number(f.Reference.F / 1000), Ratio: Number(b.Ratio),
		WanderUT: Number(b.WanderUT), MisfitP: Number(b.MisfitP), Why: face.All(b.Why), Coded: CodedAll(face, b.Why),
	}
}

// Text says the same for a reader.
func (a Room) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("background from %s", say.Counted(a.Captures, "capture"))
	p.Line("  over the craft   %s uT between its farthest points, at most %s uT in 100 mm", say.Shown(a.RangeUT, 1), say.Shown(a.GradientUT, 2))
	p.Line("  strength         %s uT, the reference field is %s uT, ratio %s", say.Shown(a.StrengthUT, 1), say.Shown(a.ReferenceUT, 1), say.Shown(a.Ratio, 3))
	if a.WanderUT != nil {
		p.Line("  in time          the base came back within %s uT", say.Shown(a.WanderUT, 1))
	}
	for _, why := range a.Why {
		p.Line("  look: %s", why)
	}
	p.Line("%s", say.YesNo(a.OK, "This bench is fit to measure on.", "This bench is not fit as it is."))
	return p.Err()
}
