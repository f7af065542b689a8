package answer

import (
	"io"

	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/gate"
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
	Checked
}

// NewRoom returns the judgement of a bench in its JSON form, worded for a face. It
// is not fit where a check of the measurements failed.
func NewRoom(face words.Face, f *evaluate.Findings, b evaluate.BenchFit, checks []gate.Check) Room {
	return Room{
		OK: b.Fit && gate.Trusted(checks), Captures: b.Captures,
		RangeUT: Number(b.RangeUT), GradientUT: Number(b.GradientUT),
		StrengthUT: Number(b.StrengthUT), ReferenceUT: Number(f.Reference.F / 1000), Ratio: Number(b.Ratio),
		WanderUT: Number(b.WanderUT), MisfitP: Number(b.MisfitP), Why: face.All(b.Why), Coded: CodedAll(face, b.Why),
		Checked: ChecksOf(face, checks),
	}
}

// Text says the same for a reader.
func (a Room) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	if h := a.Untrusted(); h != "" {
		p.Sentence(h)
	}
	p.Line("background from %s", say.Counted(a.Captures, "capture"))
	p.Line("  over the craft   %s uT between its farthest points, at most %s uT in 100 mm", say.Shown(a.RangeUT, 1), say.Shown(a.GradientUT, 2))
	p.Line("  strength         %s uT, the reference field is %s uT, ratio %s", say.Shown(a.StrengthUT, 1), say.Shown(a.ReferenceUT, 1), say.Shown(a.Ratio, 3))
	if a.WanderUT != nil {
		p.Line("  in time          the base came back within %s uT", say.Shown(a.WanderUT, 1))
	}
	for _, why := range a.Why {
		p.Line("  look: %s", why)
	}
	switch {
	case a.Untrusted() != "":
		p.Line("Whether this bench is fit to measure on cannot be told from these captures.")
	default:
		p.Line("%s", say.YesNo(a.OK, "This bench is fit to measure on.", "This bench is not fit as it is."))
	}
	return p.Err()
}
