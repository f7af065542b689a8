package answer

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"quietmount/magmath/geomag"
	"quietmount/magmath/remark"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey"
	"quietmount/survey/link"
)

// ListenInput is what `listen` heard.
type ListenInput struct {
	Name    string
	Samples []survey.Sample
	Face    words.Face
	Remarks []remark.Remark // of the link
	Monitor link.Monitor    // nil: the link tells nothing of itself
	Craft   *survey.Craft
	Now     time.Time
	Wiggle  *link.WiggleResult
	Poses   []link.Pose
	Nose    link.NoseKnown
}

// Listen is the answer of `listen`.
type Listen struct {
	Port         string         `json:"port"`
	OK           bool           `json:"ok"`
	Shape        string         `json:"shape"`
	Columns      string         `json:"columns"`
	Unit         string         `json:"unit"`
	ScaleUT      *float64       `json:"scale_ut"`
	Confidence   *float64       `json:"confidence"`
	Why          string         `json:"why"`
	WhyCoded     []Coded        `json:"why_coded"`
	Settle       string         `json:"settle"`
	SettleCoded  []Coded        `json:"settle_coded"`
	Samples      int            `json:"samples"`
	SpanS        *float64       `json:"span_s"`
	RateHz       *float64       `json:"rate_hz"`
	TrueRateHz   *float64       `json:"true_rate_hz"`
	Repeated     *float64       `json:"repeated_fraction"`
	Gaps         int            `json:"gaps"`
	LongestGapS  *float64       `json:"longest_gap_s"`
	Lines        int            `json:"lines"`
	BadLines     int            `json:"bad_lines"`
	MedianUT     *float64       `json:"magnitude_ut"`
	MedianGauss  *float64       `json:"magnitude_gauss"`
	ReferenceUT  *float64       `json:"reference_ut"`
	Ratio        *float64       `json:"ratio"`
	Reasons      []string       `json:"likely_reasons"`
	ReasonsCoded []Coded        `json:"likely_reasons_coded"`
	NoiseUT      vecOrNull      `json:"noise_ut"`
	Stuck        [3]bool        `json:"stuck"`
	Saturated    [3]bool        `json:"saturated"`
	Remarks      []healthRemark `json:"remarks"`
	Link         []string       `json:"link_remarks"`
	LinkCoded    []Coded        `json:"link_remarks_coded"`
	Axes         *axes          `json:"axes,omitempty"`
	Wiggle       *wiggle        `json:"wiggle,omitempty"`
}

type vecOrNull [3]*float64

type healthRemark struct {
	named
	Grave bool `json:"grave"`
}

type axes struct {
	Down     string   `json:"down"`
	Mirrored *bool    `json:"mirrored"`
	Axes     []string `json:"axes"`
	MisfitUT *float64 `json:"misfit_ut"`
	Why      []string `json:"why"`
	WhyCoded []Coded  `json:"why_coded"`
}

type wiggle struct {
	Shows     bool     `json:"shows"`
	ShiftUT   *float64 `json:"shift_ut"`
	Text      string   `json:"text"`
	TextCoded Coded    `json:"text_coded"`
}

// NewListen judges what was heard.
func NewListen(in ListenInput) Listen {
	var guess link.Guess
	var counters link.Counters
	if in.Monitor != nil {
		guess, _ = in.Monitor.Guess()
		counters = in.Monitor.Counters()
	}
	o := link.HealthOptions{ScaleUT: guess.ScaleUT}
	a := Listen{
		Port: in.Name, Shape: guess.Shape, Columns: guess.Columns, Unit: guess.Unit,
		ScaleUT: Number(guess.ScaleUT), Confidence: Number(guess.Confidence),
		Why: strings.Join(in.Face.All(guess.Why), "; "), WhyCoded: CodedAll(in.Face, guess.Why),
		Settle: strings.Join(in.Face.All(guess.Settle), " and "), SettleCoded: CodedAll(in.Face, guess.Settle),
		Lines: counters.Lines, BadLines: counters.Bad,
		Remarks: []healthRemark{}, Link: in.Face.All(in.Remarks), LinkCoded: CodedAll(in.Face, in.Remarks),
	}
	var reference geomag.Elements
	if in.Craft != nil {
		reference = in.Craft.Site.Field(in.Now)
		o.ReferenceUT, o.RangeUT = reference.F/1000, in.Craft.MeasuringModule().RangeUT
		a.ReferenceUT = Number(o.ReferenceUT)
	}
	a.health(in.Face, link.Assess(in.Samples, counters, o))
	a.axes(in, reference)
	if w := in.Wiggle; w != nil {
		a.Wiggle = &wiggle{w.Shows, Number(w.ShiftUT), in.Face.Say(w.Says), CodedOf(in.Face, w.Says)}
		a.OK = a.OK && !w.Shows
	}
	return a
}

func (a *Listen) health(face words.Face, h link.Health) {
	a.Samples, a.Gaps = h.Samples, h.Gaps
	a.SpanS, a.RateHz, a.TrueRateHz = Number(h.SpanS), Number(h.RateHz), Number(h.TrueRateHz)
	a.Repeated, a.LongestGapS = Number(h.RepeatedFraction), Number(h.LongestGapS)
	a.MedianUT, a.MedianGauss, a.Ratio = Number(h.MedianUT), Number(h.MedianUT/100), Number(h.Ratio)
	if a.ReferenceUT == nil {
		a.Ratio = nil
	}
	a.NoiseUT = vecOrNull{Number(h.NoiseUT.X), Number(h.NoiseUT.Y), Number(h.NoiseUT.Z)}
	a.Stuck, a.Saturated = h.Stuck, h.Saturated
	a.Reasons, a.ReasonsCoded = face.All(h.Reasons), CodedAll(face, h.Reasons)
	a.OK = true
	for _, r := range h.Remarks {
		a.Remarks = append(a.Remarks, healthRemark{namedOf(face, r.Remark), r.Grave})
		a.OK = a.OK && !r.Grave
	}
}

func (a *Listen) axes(in ListenInput, reference geomag.Elements) {
	if len(in.Poses) == 0 || in.Craft == nil {
		return
	}
	e, err := link.WhichAxes(in.Poses, in.Nose, reference.F/1000, reference.I)
	if err != nil {
		a.Axes = &axes{Axes: []string{}, Why: []string{err.Error()}, WhyCoded: []Coded{}}
		return
	}
	a.Axes = &axes{e.Down, e.Mirrored, append([]string{}, e.Axes...), Number(e.MisfitUT), in.Face.All(e.Why), CodedAll(in.Face, e.Why)}
}

// Text says what was heard in a few lines.
func (a Listen) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("%s", a.Port)
	if a.Shape != "" {
		p.Line("  lines      %s: %s, in %s, %.0f %% sure (%s)", a.Shape, a.Columns, a.Unit, 100*value(a.Confidence), a.Why)
	}
	if a.Settle != "" {
		p.Line("             settle it with %s", a.Settle)
	}
	p.Line("  rate       %s readings a second, %s of them new (%d in %.1f s)", say.Shown(a.RateHz, 1), say.Shown(a.TrueRateHz, 1), a.Samples, value(a.SpanS))
	p.Line("  gaps       %d, the longest %s s;  bad lines %d of %d", a.Gaps, say.Shown(a.LongestGapS, 2), a.BadLines, a.Lines)
	strength := fmt.Sprintf("%s uT (%s gauss)", say.Shown(a.MedianUT, 2), say.Shown(a.MedianGauss, 4))
	if a.ReferenceUT != nil {
		strength += fmt.Sprintf(", the reference field here is %s uT, ratio %s", say.Shown(a.ReferenceUT, 2), say.Shown(a.Ratio, 3))
	}
	p.Line("  strength   %s", strength)
	p.Line("  noise      x %s  y %s  z %s uT, from one reading to the next", say.Shown(a.NoiseUT[0], 3), say.Shown(a.NoiseUT[1], 3), say.Shown(a.NoiseUT[2], 3))
	if a.Axes != nil {
		p.Line("  axes       %s", axesWords(*a.Axes))
		for _, why := range a.Axes.Why {
			p.Line("             %s", why)
		}
	}
	if a.Wiggle != nil {
		p.Line("  wiggle     %s", a.Wiggle.Text)
	}
	for _, reason := range a.Reasons {
		p.Line("  likely     %s", reason)
	}
	for _, r := range a.Remarks {
		p.Line("  %-10s %s", say.YesNo(r.Grave, "STOP", "look"), r.Text)
	}
	p.Line("%s", say.YesNo(a.OK, "The module is alive and sane.", "Not fit to measure with as it is."))
	return p.Err()
}

func axesWords(a axes) string {
	switch {
	case len(a.Axes) == 3:
		return `axes = ["` + strings.Join(a.Axes, `", "`) + `"] fits, misfit ` + say.Shown(a.MisfitUT, 1) + " uT"
	case a.Down != "":
		return "the sensor's " + a.Down + " points down; turn the nose by quarters (--turns 4) to learn the rest"
	}
	return "cannot be told from this"
}

func value(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}
