package answer

import (
	"fmt"
	"math"
	"slices"

	"quietmount/magmath/heading"
	"quietmount/magmath/remark"
	deviation "quietmount/magmath/swing"
	"quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey/swing"
)

// swingCoefficient is a coefficient with its standard uncertainty.
type swingCoefficient struct {
	Estimate float64 `json:"estimate"`
	SU       float64 `json:"standard_uncertainty"`
}

func coefficientOf(v, su float64) *swingCoefficient {
	if math.IsNaN(v) || math.IsNaN(su) {
		return nil
	}
	return &swingCoefficient{say.Tidy(v), say.Tidy(su)}
}

// inDegrees holds a value for each coefficient of the approximate form.
type inDegrees[T any] struct {
	A T `json:"a_deg"`
	B T `json:"b_deg"`
	C T `json:"c_deg"`
	D T `json:"d_deg"`
	E T `json:"e_deg"`
}

type exactCoefficients struct {
	A *swingCoefficient `json:"a"`
	B *swingCoefficient `json:"b"`
	C *swingCoefficient `json:"c"`
	D *swingCoefficient `json:"d"`
	E *swingCoefficient `json:"e"`
}

type swingRow struct {
	HeadingDeg   *float64 `json:"heading_deg"`
	CompassDeg   *float64 `json:"compass_deg"`
	DeviationDeg *float64 `json:"deviation_deg"`
	FittedDeg    *float64 `json:"fitted_deg"`
	LeftOut      bool     `json:"left_out"`
}

type cardRow struct {
	HeadingDeg   float64 `json:"heading_deg"`
	CompassDeg   float64 `json:"compass_deg"`
	DeviationDeg float64 `json:"deviation_deg"`
}

type swingCause struct {
	Kind     string    `json:"kind"`
	Headings []float64 `json:"heading_deg"`
	Why      string    `json:"why"`
	WhyCoded Coded     `json:"why_coded"`
}

type publishedLimit struct {
	Deg    float64 `json:"deg"`
	Source string  `json:"source"`
	Within bool    `json:"within"`
}

type swingChange struct {
	Coefficient string   `json:"coefficient"`
	ChangeDeg   *float64 `json:"change_deg"`
	SU          *float64 `json:"standard_uncertainty_deg"`
	PValue      *float64 `json:"p_value"`
}

// besideRow is the fitted deviation of two swings at one heading.
type besideRow struct {
	HeadingDeg float64  `json:"heading_deg"`
	BeforeDeg  *float64 `json:"before_deg"`
	NowDeg     *float64 `json:"now_deg"`
	ChangeDeg  *float64 `json:"change_deg"`
}

type swingBefore struct {
	Swing            int           `json:"swing"`
	MaxDeviationDeg  *float64      `json:"max_deviation_deg"`
	Changes          []swingChange `json:"changes"`
	Changed          bool          `json:"changed"`
	Table            []besideRow   `json:"table"`
	MaxDeviationLess *float64      `json:"max_deviation_change_deg"`
}

// Swing is the answer of `swing`.
type Swing struct {
	Event           string                       `json:"event,omitempty"` // "answer" where it follows a walk's events
	Coefficients    inDegrees[*swingCoefficient] `json:"coefficients"`
	Method          string                       `json:"method"`
	Table           []swingRow                   `json:"table"`
	MaxDeviationDeg *float64                     `json:"max_deviation_deg"`
	MaxAtDeg        *float64                     `json:"max_deviation_heading_deg"`
	OK              bool                         `json:"ok"`
	LimitDeg        float64                      `json:"limit_deg"`
	Published       publishedLimit               `json:"published_limit"`
	Exact           exactCoefficients            `json:"exact"`
	Classic         *inDegrees[float64]          `json:"classic"`
	ClassicWhy      string                       `json:"classic_why,omitempty"`
	Freedom         *float64                     `json:"degrees_of_freedom"`
	ResidualDeg     *float64                     `json:"residual_deg"`
	ResidualP       *float64                     `json:"residual_p_value"`
	Reference       string                       `json:"reference"`
	Relative        bool                         `json:"relative"`
	State           string                       `json:"state,omitempty"`
	CurrentA        *float64                     `json:"current_a"`
	Cause           *swingCause                  `json:"cause"`
	Reading         []string                     `json:"reading"` // what the coefficients stand for
	Card            []cardRow                    `json:"card"`
	Before          *swingBefore                 `json:"before,omitempty"`
	Promise         *Promise                     `json:"steady_promise,omitempty"`
	Why             []string                     `json:"why"`
	WhyCoded        []Coded                      `json:"why_coded"`
	File            string                       `json:"file,omitempty"`
	Swing           int                          `json:"swing,omitempty"`
}

// SwingInput is a swing and what it was made with.
type SwingInput struct {
	Face      words.Face // in whose words the remarks are
	Swing     deviation.Result
	LimitDeg  float64
	Reference string // in words
	State     string
	CurrentA  *float64
	Remarks   []remark.Remark
	File      string
	Number    int
}

// Published limit of the deviation of an installed compass. Source: 14 CFR
// 29.1327, Magnetic direction indicator: at most 10 degrees on any heading
// after compensation in normal level flight.
const (
	publishedDeg    = 10.0
	publishedSource = "14 CFR 29.1327: not over 10 degrees on any heading, a rule for rotorcraft with people on board, for comparison only"
)

// NewSwing judges a swing.
func NewSwing(in SwingInput) Swing {
	s := in.Swing
	a := Swing{
		Coefficients: coefficientsOf(s.Approximate, s.ApproxSU, s.Relative), Method: methodOf(s), MaxDeviationDeg: Number(s.MaxDeviation), MaxAtDeg: Number(s.At),
		LimitDeg: in.LimitDeg, Published: publishedLimit{publishedDeg, publishedSource, s.MaxDeviation <= publishedDeg},
		Exact: exactCoefficients(coefficientsOf(s.ExactC, s.ExactSU, s.Relative)), ClassicWhy: in.Face.Say(s.ClassicWhy), Freedom: Number(s.DF), ResidualDeg: Number(s.ResidualDeg), ResidualP: Number(s.ResidualP),
		Reference: in.Reference, Relative: s.Relative, State: in.State, CurrentA: in.CurrentA,
		Reading: readingOf(s), File: in.File, Swing: in.Number,
	}
	if c := s.Classic; c != nil {
		a.Classic = &inDegrees[float64]{say.Tidy(c.A), say.Tidy(c.B), say.Tidy(c.C), say.Tidy(c.D), say.Tidy(c.E)}
	}
	for _, r := range s.Rows {
		a.Table = append(a.Table, swingRow{Number(r.MagneticDeg), Number(r.CompassDeg), Number(r.DeviationDeg), Number(r.FittedDeg), r.LeftOut})
	}
	if c := s.Cause; c.Kind != deviation.CauseNone {
		a.Cause = &swingCause{Kind: string(c.Kind), Headings: c.Names, Why: in.Face.Say(c.Remark()), WhyCoded: CodedOf(in.Face, c.Remark())}
	}
	a.Card = cardOf(s)
	a.OK = s.MaxDeviation <= in.LimitDeg && s.Cause.Kind == deviation.CauseNone
	why := slices.Concat(s.Remarks, in.Remarks)
	if s.MaxDeviation > in.LimitDeg {
		why = append(why, remark.New("swing.over-limit", remark.Values{"deviation_deg": s.MaxDeviation, "heading_deg": s.At, "limit_deg": in.LimitDeg}))
	}
	a.Why, a.WhyCoded = []string{}, CodedAll(in.Face, why)
	for _, r := range why {
		a.Why = append(a.Why, in.Face.Placed(r))
	}
	return a
}

func methodOf(s deviation.Result) string {
	if s.Exact {
		return "least squares; fitted values from the exact form"
	}
	return "least squares; fitted values from the approximate form"
}

// coefficientsOf pairs coefficients with their standard uncertainties; A is nil
// where mark 0 has no known direction.
func coefficientsOf(c, su deviation.Coefficients, relative bool) inDegrees[*swingCoefficient] {
	out := inDegrees[*swingCoefficient]{coefficientOf(c.A, su.A), coefficientOf(c.B, su.B), coefficientOf(c.C, su.C), coefficientOf(c.D, su.D), coefficientOf(c.E, su.E)}
	if relative {
		out.A = nil
	}
	return out
}

// readingOf says what the coefficients stand for.
func readingOf(s deviation.Result) []string {
	c := s.Approximate
	var out []string
	if !s.Relative {
		side := "clockwise"
		if c.A > 0 {
			side = "anticlockwise"
		}
		out = append(out, fmt.Sprintf("A %+.1f: as if the arrow were twisted by %.1f degrees %s seen from above", c.A, math.Abs(c.A), side))
	}
	return append(out,
		fmt.Sprintf("B and C, %.1f degrees together: what a calibration leaves of magnets fixed to the craft", math.Hypot(c.B, c.C)),
		fmt.Sprintf("D and E, %.1f degrees together: soft iron, which the field magnetises", math.Hypot(c.D, c.E)))
}

// cardStepDeg is the step of a deviation card.
const cardStepDeg = 30

func cardOf(s deviation.Result) []cardRow {
	var out []cardRow
	for z := 0.0; z < 360; z += cardStepDeg {
		d := s.Deviation(z)
		if math.IsNaN(d) {
			continue
		}
		out = append(out, cardRow{z, say.Tidy(heading.Wrap360(z - d)), say.Tidy(d)})
	}
	return out
}

// Against puts an earlier swing beside this one, as one of the unloaded craft
// beside one under load.
func (a *Swing) Against(n int, before, after deviation.Result) {
	b := swingBefore{
		Swing: n, MaxDeviationDeg: Number(before.MaxDeviation),
		MaxDeviationLess: Number(after.MaxDeviation - before.MaxDeviation),
	}
	for _, c := range swing.Changes(before, after, !before.Relative && !after.Relative) {
		b.Changes = append(b.Changes, swingChange{c.Name, Number(c.By), Number(c.SU), Number(c.PValue)})
		b.Changed = b.Changed || c.PValue < changedP
	}
	for z := 0.0; z < 360; z += cardStepDeg {
		old, now := before.Deviation(z), after.Deviation(z)
		b.Table = append(b.Table, besideRow{z, Number(old), Number(now), Number(heading.Wrap180(now - old))})
	}
	a.Before = &b
}

// changedP: five coefficients are looked at, so that a change of one is told
// at a hundredth.
const changedP = 0.01
