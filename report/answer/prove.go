package answer

import (
	"fmt"
	"io"
	"strings"
	"time"

	"gonum.org/v1/gonum/spatial/r3"

	"gonum.org/v1/gonum/spatial/r2"

	"quietmount/magmath/heading"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/prove"
)

// Prove is the answer of `prove`: the map's prediction at a spot and the
// measurement with the module there.
type Prove struct {
	reason string // Why without its beginning

	Craft string `json:"craft"`
	Spot  *int   `json:"spot"` // number in the ranking; null: a place given by hand
	placed
	HeightMM float64       `json:"height_mm"`
	From     []FromMark    `json:"from_marks"`
	Place    string        `json:"place"` // the same in words, with the height
	Promised proofSide     `json:"promised"`
	Measured *measuredSide `json:"measured"` // null: not proved
	PValue   *float64      `json:"p_value"`
	OK       bool          `json:"ok"`
	Proved   bool          `json:"proved"`
	State    prove.State   `json:"state"`

	CheckedPlace   bool           `json:"checked_place"`     // another probe than the module measured
	OneByOne       bool           `json:"proved_one_by_one"` // the worst combination was not run with all its loads on
	Settings       map[string]int `json:"settings"`          // settings-down of the module with each load
	SettingsWanted int            `json:"settings_wanted"`   // of each load
	SlipMM         *float64       `json:"slip_mm"`           // that counts: the builder's, or as measured between proof captures
	ScatterPValue  *float64       `json:"scatter_p_value"`
	Reached        []reached      `json:"not_reached"` // loads measured at less than half their maximum current
	Earlier        []failedProof  `json:"failed_proofs"`

	Why      string  `json:"why"`
	WhyCoded Coded   `json:"why_coded"`
	Budget   float64 `json:"budget_deg"`
	Cautions
}

// reached is how far a load was driven at the spot.
type reached struct {
	Load     string  `json:"load"`
	CurrentA float64 `json:"current_a"`
	MaxA     float64 `json:"max_current_a"`
}

// failedProof is a proof on record that failed.
type failedProof struct {
	placed
	HeightMM float64     `json:"height_mm"`
	Time     time.Time   `json:"time"`
	Runs     []int       `json:"runs"`
	PValue   *float64    `json:"p_value"`
	Promised *failedSide `json:"promised_deg"`
	Measured *failedSide `json:"measured_deg"`
	Code     string      `json:"code"`
}

type failedSide struct {
	Estimate float64 `json:"estimate"`
	Upper95  float64 `json:"upper95"`
}

func failedSideOf(v *[2]float64) *failedSide {
	if v == nil {
		return nil
	}
	return &failedSide{say.Tidy(v[0]), say.Tidy(v[1])}
}

// failedProofs returns the proofs that failed, oldest first; never nil.
func failedProofs(p *prove.Proof) []failedProof {
	out := []failedProof{}
	for _, j := range p.Earlier {
		out = append(out, failedProof{
			placed: placedAt(r3.Vec{X: j.AtMM[0], Y: j.AtMM[1], Z: j.AtMM[2]}), HeightMM: say.Tidy(j.HeightMM),
			Time: j.Time, Runs: j.Runs, PValue: j.PValue, Promised: failedSideOf(j.Promised), Measured: failedSideOf(j.Measured), Code: j.Code,
		})
	}
	return out
}

// Told says in a sentence what a proof on record came to.
func (f failedProof) Told() string {
	words := fmt.Sprintf("A proof at x %.0f, y %.0f mm failed on %s", f.Xmm, f.Ymm, f.Time.Format(time.DateOnly))
	if f.Promised != nil && f.Measured != nil {
		words += fmt.Sprintf(": %s degrees measured, at most %s, where up to %s were promised", Degrees(f.Measured.Estimate), Degrees(f.Measured.Upper95), Degrees(f.Promised.Upper95))
	}
	if f.PValue != nil {
		words += fmt.Sprintf(" (p = %.2g)", *f.PValue)
	}
	return words + "."
}

type proofSide struct {
	Shifting            *heading.Error     `json:"shifting_heading_error_deg"`
	Steady              *heading.Error     `json:"steady_heading_error_deg"`
	SteadyUT            *heading.Quantiles `json:"steady_ut"`
	ExtrapolationFactor *float64           `json:"extrapolation_factor"`
	WorstCombination    []string           `json:"worst_combination"`
	WorstReversed       []string           `json:"worst_combination_reversed"`
}

type measuredSide struct {
	Shifting         *heading.Error     `json:"shifting_heading_error_deg"`
	Steady           *heading.Error     `json:"steady_heading_error_deg"` // null: no background, or nothing at rest
	SteadyUT         *heading.Quantiles `json:"steady_ut"`
	SteadyVector     *Vec               `json:"steady_vector_ut"`
	SteadyCovariance *[3][3]float64     `json:"steady_covariance_ut2"`
	SteadyPValue     *float64           `json:"steady_p_value"` // that it is what the map says
	WorstCombination []string           `json:"worst_combination"`
	WorstReversed    []string           `json:"worst_combination_reversed"`
	Captures         int                `json:"captures"`
	LoadsUT          map[string]Vec     `json:"loads_ut"`
}

// Worst names the loads of the worst combination, with the reversed ones told.
func (s proofSide) Worst() []string { return say.Combination(s.WorstCombination, s.WorstReversed) }

// Worst names the loads of the worst combination, with the reversed ones told.
func (s measuredSide) Worst() []string { return say.Combination(s.WorstCombination, s.WorstReversed) }

// NewProve returns a proof in the form that JSON and text are written from, its
// remarks in the words of a face; spot 0 means a place given by hand.
func NewProve(face words.Face, f *evaluate.Findings, p *prove.Proof, spot int) Prove {
	at := p.Place
	marks := f.Craft.FromMarks(r2.Vec{X: at.At.X, Y: at.At.Y})
	a := Prove{
		Craft: f.Craft.Name, placed: placedAt(at.At), HeightMM: say.Tidy(at.HeightMM), From: fromMarks(marks), Place: say.FromMarks(marks, at.HeightMM),
		Promised: proofSide{
			Shifting: ErrorOf(&p.Promised.Shifting), Steady: ErrorOf(&p.Promised.Steady), SteadyUT: tidied(p.Promised.SteadyUT),
			ExtrapolationFactor: Number(p.Promised.ExtrapolationFactor), WorstCombination: append([]string{}, p.Promised.WorstCombination...), WorstReversed: append([]string{}, p.Promised.WorstReversed...),
		},
		PValue: Number(p.PValue), OK: p.OK, Proved: p.OK, WhyCoded: whyProved(face, p), Budget: f.Craft.Limits.HeadingErrorDeg,
		Cautions: cautions(face, p.Notes),
	}
	a.Why = a.WhyCoded.Text
	a.reason = face.Say(p.Why)
	a.State, a.CheckedPlace, a.OneByOne = p.State, p.State == prove.PlaceChecked, p.State == prove.OneByOne
	a.Settings, a.SettingsWanted, a.Earlier = p.Settings, p.Wanted, failedProofs(p)
	a.SlipMM, a.ScatterPValue, a.Reached = Number(p.Scatter.SlipMM), Number(p.Scatter.P), []reached{}
	for _, l := range f.Craft.Loads {
		if r, ok := p.Reached[l.Name]; ok {
			a.Reached = append(a.Reached, reached{l.Name, r.CurrentA, r.MaxA})
		}
	}
	if spot > 0 {
		a.Spot = &spot
	}
	if p.Measured != nil {
		m := measuredSide{Shifting: ErrorOf(p.Measured), WorstCombination: append([]string{}, p.Worst...), WorstReversed: append([]string{}, p.Reversed...), Captures: p.Captures, LoadsUT: map[string]Vec{}}
		if s := p.Steady; s != nil {
			m.Steady, m.SteadyUT, m.SteadyPValue = ErrorOf(&s.Error), tidied(s.UT), Number(s.PValue)
			m.SteadyVector, m.SteadyCovariance = estimateOf(&s.Estimate)
		}
		for name, e := range p.Loads {
			m.LoadsUT[name] = vecOf(e.Mean)
		}
		a.Measured = &m
	}
	return a
}

// whyProved returns why a spot is proved or not; its text begins with whether.
func whyProved(face words.Face, p *prove.Proof) Coded {
	why := CodedOf(face, p.Why)
	switch {
	case p.OK:
		why.Text = "proved: " + why.Text
	case p.State == prove.PlaceChecked:
		why.Text = "place checked, not proved: " + why.Text
	default:
		why.Text = "not proved: " + why.Text
	}
	return why
}

// Reason returns why the spot is proved or not, for where its verdict stands above.
func (a Prove) Reason() string { return a.reason }

func proofRow(side string, shifting, steady *heading.Error, steadyUT *heading.Quantiles) []string {
	row := append([]string{side}, DegreesOf(shifting)...)
	return append(append(row, DegreesOf(steady)...), MicroteslaOf(steadyUT)...)
}

// Text prints the promised values above the measured ones.
func (a Prove) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	where := fmt.Sprintf("the place at x %.0f, y %.0f mm", a.Xmm, a.Ymm)
	if a.Spot != nil {
		where = fmt.Sprintf("spot %d at x %.0f, y %.0f mm", *a.Spot, a.Xmm, a.Ymm)
	}
	if a.HeightMM != 0 {
		where += fmt.Sprintf(", %s mm above the surface", say.Short(a.HeightMM))
	}
	p.Sentence(fmt.Sprintf("%s, %s, is %s.", say.Named(a.Craft), where, strings.Replace(a.Why, "place checked", "checked", 1)))
	if a.Place != "" {
		p.Sentence("The middle of the module's foot: " + a.Place + ".")
	}
	p.Line("")
	t := text.Table{Head: [][]string{{"", "shifting", "", "steady", "", "steady", ""}, {"", "error deg", "95 %", "error deg", "95 %", "uT", "95 %"}}}
	t.Rows = append(t.Rows, proofRow("promised", a.Promised.Shifting, a.Promised.Steady, a.Promised.SteadyUT))
	if m := a.Measured; m == nil {
		t.Rows = append(t.Rows, []string{"measured", "not", "proved", "-", "-", "-", "-"})
	} else {
		t.Rows = append(t.Rows, proofRow("measured", m.Shifting, m.Steady, m.SteadyUT))
	}
	p.Table(t)
	if a.PValue != nil {
		p.Line("")
		p.Sentence(fmt.Sprintf("Probability of fields so far from the map's if the map is right: %.2g. Under %g a proof fails.", *a.PValue, prove.Significance))
	}
	if len(a.Earlier) > 0 {
		p.Line("")
	}
	for _, f := range a.Earlier {
		p.Sentence(f.Told())
	}
	if len(a.Warnings) > 0 {
		p.Line("")
	}
	a.Cautions.print(p)
	return p.Err()
}
