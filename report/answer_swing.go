package report

import (
	"fmt"
	"io"
	"math"

	"quietmount/magmath/heading"
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
	return &swingCoefficient{tidy(v), tidy(su)}
}

type degreeCoefficients struct {
	A *swingCoefficient `json:"a_deg"`
	B *swingCoefficient `json:"b_deg"`
	C *swingCoefficient `json:"c_deg"`
	D *swingCoefficient `json:"d_deg"`
	E *swingCoefficient `json:"e_deg"`
}

type exactCoefficients struct {
	A *swingCoefficient `json:"a"`
	B *swingCoefficient `json:"b"`
	C *swingCoefficient `json:"c"`
	D *swingCoefficient `json:"d"`
	E *swingCoefficient `json:"e"`
}

type classicCoefficients struct {
	A float64 `json:"a_deg"`
	B float64 `json:"b_deg"`
	C float64 `json:"c_deg"`
	D float64 `json:"d_deg"`
	E float64 `json:"e_deg"`
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

type swingBefore struct {
	Swing            int           `json:"swing"`
	MaxDeviationDeg  *float64      `json:"max_deviation_deg"`
	Changes          []swingChange `json:"changes"`
	Changed          bool          `json:"changed"`
	MaxDeviationLess *float64      `json:"max_deviation_change_deg"`
}

// SwingAnswer is the answer of `swing`.
type SwingAnswer struct {
	Event           string               `json:"event,omitempty"` // "answer" where it follows a walk's events
	Coefficients    degreeCoefficients   `json:"coefficients"`
	Method          string               `json:"method"`
	Table           []swingRow           `json:"table"`
	MaxDeviationDeg *float64             `json:"max_deviation_deg"`
	MaxAtDeg        *float64             `json:"max_deviation_heading_deg"`
	OK              bool                 `json:"ok"`
	LimitDeg        float64              `json:"limit_deg"`
	Published       publishedLimit       `json:"published_limit"`
	Exact           exactCoefficients    `json:"exact"`
	Classic         *classicCoefficients `json:"classic"`
	ClassicWhy      string               `json:"classic_why,omitempty"`
	Freedom         *float64             `json:"degrees_of_freedom"`
	ResidualDeg     *float64             `json:"residual_deg"`
	ResidualP       *float64             `json:"residual_p_value"`
	Reference       string               `json:"reference"`
	Relative        bool                 `json:"relative"`
	State           string               `json:"state,omitempty"`
	CurrentA        *float64             `json:"current_a"`
	Cause           *swingCause          `json:"cause"`
	Reading         []string             `json:"reading"` // what the coefficients stand for
	Card            []cardRow            `json:"card"`
	Before          *swingBefore         `json:"before,omitempty"`
	Promise         *promiseAnswer       `json:"steady_promise,omitempty"`
	Why             []string             `json:"why"`
	File            string               `json:"file,omitempty"`
	Swing           int                  `json:"swing,omitempty"`
}

// SwingInput is a swing and what it was made with.
type SwingInput struct {
	Swing     heading.Swing
	LimitDeg  float64
	Reference string // in words
	State     string
	CurrentA  *float64
	Remarks   []string
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

// NewSwingAnswer judges a swing.
func NewSwingAnswer(in SwingInput) SwingAnswer {
	s := in.Swing
	a := SwingAnswer{
		Coefficients: coefficientsOf(s), Method: methodOf(s), MaxDeviationDeg: number(s.MaxDeviation), MaxAtDeg: number(s.At),
		LimitDeg: in.LimitDeg, Published: publishedLimit{publishedDeg, publishedSource, s.MaxDeviation <= publishedDeg},
		Exact: exactOf(s), ClassicWhy: s.ClassicWhy, Freedom: number(s.DF), ResidualDeg: number(s.ResidualDeg), ResidualP: number(s.ResidualP),
		Reference: in.Reference, Relative: s.Relative, State: in.State, CurrentA: in.CurrentA,
		Reading: readingOf(s), Why: append(append([]string{}, s.Remarks...), in.Remarks...), File: in.File, Swing: in.Number,
	}
	if c := s.Classic; c != nil {
		a.Classic = &classicCoefficients{tidy(c.A), tidy(c.B), tidy(c.C), tidy(c.D), tidy(c.E)}
	}
	for _, r := range s.Rows {
		a.Table = append(a.Table, swingRow{number(r.MagneticDeg), number(r.CompassDeg), number(r.DeviationDeg), number(r.FittedDeg), r.LeftOut})
	}
	if c := s.Cause; c.Kind != heading.CauseNone {
		a.Cause = &swingCause{Kind: string(c.Kind), Headings: c.Names, Why: c.String()}
	}
	a.Card = cardOf(s)
	a.OK = s.MaxDeviation <= in.LimitDeg && s.Cause.Kind == heading.CauseNone
	if s.MaxDeviation > in.LimitDeg {
		a.Why = append(a.Why, fmt.Sprintf("the deviation reaches %.1f degrees at heading %03.0f, and the limit is %g", s.MaxDeviation, s.At, in.LimitDeg))
	}
	return a
}

func methodOf(s heading.Swing) string {
	if s.Exact {
		return "least squares; fitted values from the exact form"
	}
	return "least squares; fitted values from the approximate form"
}

func coefficientsOf(s heading.Swing) degreeCoefficients {
	c, u := s.Approximate, s.ApproxSU
	out := degreeCoefficients{coefficientOf(c.A, u.A), coefficientOf(c.B, u.B), coefficientOf(c.C, u.C), coefficientOf(c.D, u.D), coefficientOf(c.E, u.E)}
	if s.Relative {
		out.A = nil
	}
	return out
}

func exactOf(s heading.Swing) exactCoefficients {
	c, u := s.ExactC, s.ExactSU
	out := exactCoefficients{coefficientOf(c.A, u.A), coefficientOf(c.B, u.B), coefficientOf(c.C, u.C), coefficientOf(c.D, u.D), coefficientOf(c.E, u.E)}
	if s.Relative {
		out.A = nil
	}
	return out
}

// readingOf says what the coefficients stand for.
func readingOf(s heading.Swing) []string {
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

func cardOf(s heading.Swing) []cardRow {
	var out []cardRow
	for z := 0.0; z < 360; z += cardStepDeg {
		d := s.Deviation(z)
		if math.IsNaN(d) {
			continue
		}
		out = append(out, cardRow{z, tidy(heading.Wrap360(z - d)), tidy(d)})
	}
	return out
}

// Against puts an earlier swing beside this one.
func (a *SwingAnswer) Against(n int, before, after heading.Swing) {
	b := swingBefore{
		Swing: n, MaxDeviationDeg: number(before.MaxDeviation),
		MaxDeviationLess: number(after.MaxDeviation - before.MaxDeviation),
	}
	for _, c := range swing.Changes(before, after, !before.Relative && !after.Relative) {
		b.Changes = append(b.Changes, swingChange{c.Name, number(c.By), number(c.SU), number(c.PValue)})
		b.Changed = b.Changed || c.PValue < changedP
	}
	a.Before = &b
}

// changedP: five coefficients are looked at, so that a change of one is told
// at a hundredth.
const changedP = 0.01

// Text says the same for a reader: the table, the coefficients, the card.
func (a SwingAnswer) Text(w io.Writer) error {
	p := &printer{w: w}
	p.line("swing by %s%s", a.Reference, a.underLoad())
	t := table{head: [][]string{{"heading", "compass", "deviation", "fitted"}}}
	for _, r := range a.Table {
		row := []string{heading3(r.HeadingDeg), compass1(r.CompassDeg), eastWest(r.DeviationDeg), eastWest(r.FittedDeg)}
		t.rows = append(t.rows, row)
		if r.LeftOut {
			t.rows = append(t.rows, []string{aside, "left out"})
		}
	}
	for _, l := range t.lines() {
		p.line("%s", l)
	}
	p.line("")
	a.coefficients(p)
	for _, r := range a.Reading {
		p.sentence("  " + r)
	}
	if a.ResidualDeg != nil {
		p.line("residuals %s degrees; so much or more by chance: p = %s", shown(a.ResidualDeg, 2), shown(a.ResidualP, 3))
	}
	a.card(p)
	a.before(p)
	if a.Promise != nil {
		p.sentence(a.Promise.Why)
	}
	for _, why := range a.Why {
		p.sentence("look: " + why)
	}
	p.line("largest deviation %s degrees, at heading %s; limit %g; %s", shown(a.MaxDeviationDeg, 1), heading3(a.MaxAtDeg), a.LimitDeg,
		yesNo(a.Published.Within, "within", "over")+" the 10 degrees of 14 CFR 29.1327 (for comparison only)")
	p.line("%s", yesNo(a.OK, "The compass is within the limit.", "The compass is not within the limit, or the swing cannot be trusted."))
	return p.err
}

func (a SwingAnswer) underLoad() string {
	if a.State == "" || a.State == "unpowered" {
		return ""
	}
	if a.CurrentA != nil {
		return fmt.Sprintf(", under load: %s at %g A", a.State, *a.CurrentA)
	}
	return ", under load: " + a.State
}

func (a SwingAnswer) coefficients(p *printer) {
	c := a.Coefficients
	one := func(name string, v *swingCoefficient) string {
		if v == nil {
			return name + " not known"
		}
		return fmt.Sprintf("%s %+.2f +- %.2f", name, v.Estimate, v.SU)
	}
	p.line("degrees, least squares: %s  %s  %s  %s  %s", one("A", c.A), one("B", c.B), one("C", c.C), one("D", c.D), one("E", c.E))
	if k := a.Classic; k != nil {
		p.line("classic formulas:       A %+.2f  B %+.2f  C %+.2f  D %+.2f  E %+.2f", k.A, k.B, k.C, k.D, k.E)
	}
	if e := a.Exact; e.B != nil {
		head := "A not known"
		if e.A != nil {
			head = fmt.Sprintf("A %+.4f", e.A.Estimate)
		}
		p.line("exact:                  %s  B %+.4f  C %+.4f  D %+.4f  E %+.4f", head, e.B.Estimate, e.C.Estimate, e.D.Estimate, e.E.Estimate)
	}
}

func (a SwingAnswer) card(p *printer) {
	p.line("")
	p.line("Deviation card: for the magnetic heading above, steer the compass heading below")
	for half := range 2 {
		var z, c string
		for _, r := range a.Card[min(len(a.Card), half*6):min(len(a.Card), half*6+6)] {
			z += fmt.Sprintf("   %03.0f", r.HeadingDeg)
			c += fmt.Sprintf("   %03.0f", math.Mod(math.Round(r.CompassDeg), 360))
		}
		p.line("  magnetic %s", z)
		p.line("  compass  %s", c)
	}
}

func (a SwingAnswer) before(p *printer) {
	b := a.Before
	if b == nil {
		return
	}
	p.line("")
	p.line("against swing %d, whose largest deviation was %s degrees:", b.Swing, shown(b.MaxDeviationDeg, 1))
	for _, c := range b.Changes {
		p.line("  %s changed by %s +- %s degrees (p = %s)", c.Coefficient, shown(c.ChangeDeg, 2), shown(c.SU, 2), shown(c.PValue, 3))
	}
	p.line("  %s", yesNo(b.Changed, "That is more than chance.", "That may well be chance."))
}

func heading3(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%03.0f", math.Mod(math.Round(*v), 360))
}

// compass1 is a heading to a tenth, 000.0 to 359.9.
func compass1(v *float64) string {
	if v == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f", math.Mod(math.Round(10**v)/10, 360))
}

// eastWest is a deviation with its name.
func eastWest(v *float64) string {
	if v == nil {
		return "-"
	}
	side := "E"
	if *v < 0 {
		side = "W"
	}
	return fmt.Sprintf("%.1f %s", math.Abs(*v), side)
}
