package report

import (
	"fmt"
	"io"

	"quietmount/survey/findings"
)

// ProveAnswer is the answer of `prove`: what the map promised of a spot beside
// what was measured with the module there.
type ProveAnswer struct {
	Craft    string        `json:"craft"`
	Spot     *int          `json:"spot"` // number in the ranking; null: a place given by hand
	Xmm      float64       `json:"x_mm"`
	Ymm      float64       `json:"y_mm"`
	Zmm      float64       `json:"z_mm"`
	HeightMM float64       `json:"height_mm"`
	Promised proofSide     `json:"promised"`
	Measured *measuredSide `json:"measured"` // null: not proved
	PValue   *float64      `json:"p_value"`
	OK       bool          `json:"ok"`
	Proved   bool          `json:"proved"`
	Why      string        `json:"why"`
	Budget   float64       `json:"budget_deg"`
	Warnings []string      `json:"warnings"`
}

type proofSide struct {
	Shifting            *headingError `json:"shifting_heading_error_deg"`
	Steady              *headingError `json:"steady_heading_error_deg"`
	SteadyUT            *quantiles    `json:"steady_ut"`
	ExtrapolationFactor *float64      `json:"extrapolation_factor"`
	WorstCombination    []string      `json:"worst_combination"`
}

type measuredSide struct {
	Shifting         *headingError  `json:"shifting_heading_error_deg"`
	Steady           *headingError  `json:"steady_heading_error_deg"` // null: no background, or nothing at rest
	SteadyUT         *quantiles     `json:"steady_ut"`
	SteadyVector     *vec           `json:"steady_vector_ut"`
	SteadyCovariance *[3][3]float64 `json:"steady_covariance_ut2"`
	SteadyPValue     *float64       `json:"steady_p_value"` // that it is what the map says
	WorstCombination []string       `json:"worst_combination"`
	Captures         int            `json:"captures"`
	LoadsUT          map[string]vec `json:"loads_ut"`
}

// NewProveAnswer carries a proof into the form that JSON and text are written from; spot 0 stands for a
// place given by hand.
func NewProveAnswer(f *findings.Findings, p *findings.Proof, spot int) ProveAnswer {
	at := p.Place
	a := ProveAnswer{
		Craft: f.Craft.Name, Xmm: tidy(at.At.X), Ymm: tidy(at.At.Y), Zmm: tidy(at.At.Z), HeightMM: tidy(at.HeightMM),
		Promised: proofSide{
			Shifting: errorOf(&p.Promised.Shifting), Steady: errorOf(&p.Promised.Steady), SteadyUT: quantilesOf(p.Promised.SteadyUT),
			ExtrapolationFactor: number(p.Promised.ExtrapolationFactor), WorstCombination: append([]string{}, p.Promised.WorstCombination...),
		},
		PValue: number(p.PValue), OK: p.OK, Proved: p.OK, Why: p.Why, Budget: f.Craft.Limits.HeadingErrorDeg,
		Warnings: append([]string{}, p.Notes...),
	}
	if spot > 0 {
		a.Spot = &spot
	}
	if p.Measured != nil {
		m := measuredSide{Shifting: errorOf(p.Measured), WorstCombination: append([]string{}, p.Worst...), Captures: p.Captures, LoadsUT: map[string]vec{}}
		if s := p.Steady; s != nil {
			m.Steady, m.SteadyUT, m.SteadyPValue = errorOf(&s.Error), quantilesOf(s.UT), number(s.PValue)
			m.SteadyVector, m.SteadyCovariance = estimateOf(&s.Estimate)
		}
		for name, e := range p.Loads {
			m.LoadsUT[name] = vecOf(e.Mean)
		}
		a.Measured = &m
	}
	return a
}

func proofRow(side string, shifting, steady *headingError, steadyUT *quantiles) []string {
	row := append([]string{side}, degreesOf(shifting)...)
	return append(append(row, degreesOf(steady)...), microteslaOf(steadyUT)...)
}

// Text prints promised beside measured.
func (a ProveAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	where := fmt.Sprintf("the place at x %.0f, y %.0f mm", a.Xmm, a.Ymm)
	if a.Spot != nil {
		where = fmt.Sprintf("spot %d at x %.0f, y %.0f mm", *a.Spot, a.Xmm, a.Ymm)
	}
	if a.HeightMM != 0 {
		where += fmt.Sprintf(", %s mm above the surface", short(a.HeightMM))
	}
	p.sentence(fmt.Sprintf("%s, %s: %s.", named(a.Craft), where, a.Why))
	p.line("")
	t := table{head: [][]string{{"", "shifting", "", "steady", "", "steady", ""}, {"", "error deg", "95 %", "error deg", "95 %", "uT", "95 %"}}}
	t.rows = append(t.rows, proofRow("promised", a.Promised.Shifting, a.Promised.Steady, a.Promised.SteadyUT))
	if m := a.Measured; m == nil {
		t.rows = append(t.rows, []string{"measured", "not", "proved", "-", "-", "-", "-"})
	} else {
		t.rows = append(t.rows, proofRow("measured", m.Shifting, m.Steady, m.SteadyUT))
	}
	for _, l := range t.lines() {
		p.line("%s", l)
	}
	if len(a.Warnings) > 0 {
		p.line("")
	}
	for _, s := range a.Warnings {
		p.sentence("Caution: " + s)
	}
	return p.failed()
}
