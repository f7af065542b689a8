package report

import (
	"fmt"
	"io"

	"quietmount/magmath/calib"
	"quietmount/magmath/heading"
	"quietmount/survey"
	"quietmount/survey/link"
)

// CalibrateAnswer is the answer of `calibrate`.
type CalibrateAnswer struct {
	Accepted bool   `json:"accepted"`
	Why      string `json:"why"`
	ID       string `json:"id"`   // of the stored calibration; empty: not stored
	File     string `json:"file"` // where it is stored
	Source   string `json:"source"`

	Offset         vec            `json:"offset_ut"`
	Matrix         *[3][3]float64 `json:"matrix"`
	Parameters     int            `json:"parameters"`
	OffsetStandard vec            `json:"offset_standard_uncertainty_ut"`
	OffsetHalf     vec            `json:"offset_interval95_ut"` // half its width
	MatrixStandard *[3][3]float64 `json:"matrix_standard_uncertainty"`
	Covariance     [9][9]float64  `json:"covariance"`
	ResidualUT     *float64       `json:"residual_ut"`
	NoiseUT        *float64       `json:"noise_ut"`
	ErrorUT        *float64       `json:"expected_error_ut"`

	ScaleFrom     string   `json:"scale_from"`
	FieldUT       *float64 `json:"field_ut"`
	FieldStandard *float64 `json:"field_standard_uncertainty_ut"`
	ReferenceUT   *float64 `json:"reference_ut"`
	Ratio         *float64 `json:"ratio"`
	Likely        []string `json:"likely_reasons"`

	Samples          int      `json:"samples"`
	Repeated         int      `json:"repeated_samples"`
	Rejected         int      `json:"rejected_samples"`
	Saturated        int      `json:"saturated_samples"`
	EffectiveSamples *float64 `json:"effective_samples"`
	DegreesOfFreedom *float64 `json:"degrees_of_freedom"`

	SphereCovered    float64 `json:"sphere_covered"`
	AttitudesCovered float64 `json:"attitudes_covered"`
	Cells            []int   `json:"cells_covered"` // 1 where a cell of equal area was shown; from sensor +z to -z
	Next             string  `json:"next"`          // how to turn to close the largest gap

	Candidates []candidateAnswer `json:"candidates"`
	PriorGain  float64           `json:"prior_gain"`
	PriorCross float64           `json:"prior_cross"`
	Changes    []float64         `json:"changes_s"`
	Steady     [][2]float64      `json:"steady_s"`
	Refusals   []codeAnswer      `json:"refusals"`
	Remarks    []codeAnswer      `json:"remarks"`

	OnCraft bool           `json:"on_craft"`
	Promise *PromiseAnswer `json:"steady_promise,omitempty"` // of the finished craft

	use string
}

type candidateAnswer struct {
	Parameters int      `json:"parameters"`
	NoiseUT    *float64 `json:"noise_ut"`
	LeftOutUT  *float64 `json:"left_out_ut"`
	TotalUT    *float64 `json:"total_ut"`
}

type codeAnswer struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// CalibrateInput is what `calibrate` found.
type CalibrateInput struct {
	Result      calib.Result
	ReferenceUT float64
	Source      string
	ID, File    string // where it was stored; empty: it was not
	Use         string // the command that applies it
	OnCraft     bool   // the module was mounted
	Promise     *heading.SteadyPromise
	Kept        heading.Kept // of Promise
}

// NewCalibrateAnswer carries a calibration into its JSON form.
func NewCalibrateAnswer(in CalibrateInput) CalibrateAnswer {
	r := in.Result
	a := CalibrateAnswer{
		Accepted: r.Accepted, Why: r.Why, ID: in.ID, File: in.File, Source: in.Source, use: in.Use,
		Offset: vecOf(r.OffsetUT), Matrix: matOf(r.Matrix), Parameters: r.Parameters,
		OffsetStandard: vecOf(r.OffsetStandardUT), OffsetHalf: vecOf(r.Interval95UT()), MatrixStandard: matOf(r.MatrixStandard), Covariance: r.Covariance,
		ResidualUT: number(r.ResidualUT), NoiseUT: number(r.NoiseUT), ErrorUT: number(r.ErrorUT),
		ScaleFrom: survey.ScaleWord(r.Scale), FieldUT: number(r.FieldUT), FieldStandard: number(r.FieldStandardUT),
		ReferenceUT: positive(in.ReferenceUT), Ratio: positive(r.Ratio), Likely: []string{},
		Samples: r.Samples, Repeated: r.Repeated, Rejected: r.Rejected, Saturated: r.Saturated, EffectiveSamples: number(r.EffectiveSamples), DegreesOfFreedom: number(r.DegreesOfFreedom),
		SphereCovered: tidy(r.SphereCovered), AttitudesCovered: tidy(r.AttitudesCovered),
		PriorGain: tidy(r.Prior.Gain), PriorCross: tidy(r.Prior.Cross),
		Candidates: []candidateAnswer{}, Changes: []float64{}, Steady: [][2]float64{}, Refusals: codesOf(r.Refusals), Remarks: codesOf(r.Remarks),
	}
	a.lists(r)
	a.OnCraft = in.OnCraft
	if in.Promise != nil {
		a.Promise = new(NewPromiseAnswer(*in.Promise, in.Kept))
	}
	return a
}

// OK reports whether the calibration was accepted and keeps the promise that it
// was held against.
func (a CalibrateAnswer) OK() bool { return a.Accepted && (a.Promise == nil || a.Promise.Kept) }

func (a *CalibrateAnswer) lists(r calib.Result) {
	for i := range a.Covariance {
		for j := range a.Covariance[i] {
			a.Covariance[i][j] = tidy(a.Covariance[i][j])
		}
	}
	a.Cells = make([]int, calib.Cells)
	for i := range a.Cells {
		if r.Coverage.Seen(i) {
			a.Cells[i] = 1
		}
	}
	if r.Gap != nil {
		a.Next = r.Gap.Words
	}
	for _, c := range r.Candidates {
		a.Candidates = append(a.Candidates, candidateAnswer{c.Parameters, number(c.NoiseUT), number(c.LeftOutUT), number(c.TotalUT)})
	}
	for _, t := range r.Changes {
		a.Changes = append(a.Changes, tidy(t))
	}
	for _, s := range r.Steady {
		a.Steady = append(a.Steady, [2]float64{tidy(s.FromS), tidy(s.ToS)})
	}
	if r.Ratio > 0.78 && r.Ratio < 1.28 {
		return // a room and the probe's own gain explain that
	}
	for _, reason := range link.ReasonsFor(r.Ratio) {
		a.Likely = append(a.Likely, reason.Text)
	}
}

func codesOf(list []calib.Remark) []codeAnswer {
	out := []codeAnswer{}
	for _, r := range list {
		out = append(out, codeAnswer{string(r.Code), r.Text})
	}
	return out
}

// positive is a number that 0 says nothing of.
func positive(v float64) *float64 {
	if !(v > 0) {
		return nil
	}
	return number(v)
}

// Text says the same for a reader.
func (a CalibrateAnswer) Text(w io.Writer) error {
	p := newPrinter(w)
	p.line("%s from %s: %d repeated, %d left out", counted(a.Samples, "reading"), a.Source, a.Repeated, a.Rejected)
	changed := !a.Accepted && len(a.Changes) > 0
	if a.Parameters > 0 && !changed {
		a.numbers(p)
	}
	for _, r := range a.Remarks {
		p.line("  look: %s", r.Text)
	}
	if !changed {
		for _, reason := range a.Likely {
			p.line("  likely: %s", reason)
		}
	}
	if !a.Accepted {
		for _, r := range a.Refusals {
			p.line("  STOP: %s", r.Text)
		}
		if len(a.Steady) > 1 {
			p.line("  one stretch only: add --from-s and --to-s, e.g. %s", stretch(a.Steady))
		}
		p.line("Not accepted; nothing was stored.")
		return p.failed()
	}
	p.line("  chosen: %s", a.Why)
	p.line("Accepted: stored as calibration %s (%s).", a.ID, a.File)
	p.line("Use it: %s", a.use)
	if a.Promise != nil {
		p.sentence(a.Promise.Why)
	}
	return p.failed()
}

// stretch is the longest of some stretches as flags.
func stretch(spans [][2]float64) string {
	best := spans[0]
	for _, s := range spans {
		if s[1]-s[0] > best[1]-best[0] {
			best = s
		}
	}
	return fmt.Sprintf("--from-s %.0f --to-s %.0f", best[0]+1, best[1]-1)
}

func (a CalibrateAnswer) numbers(p *printer) {
	p.line("  offset       x %s  y %s  z %s uT", plusMinus(a.Offset[0], a.OffsetStandard[0]), plusMinus(a.Offset[1], a.OffsetStandard[1]), plusMinus(a.Offset[2], a.OffsetStandard[2]))
	for i, row := range a.Matrix {
		p.line("  %-12s %9.5f %9.5f %9.5f", yesNo(i == 0, "matrix", ""), row[0], row[1], row[2])
	}
	p.line("  residual     %s uT; a corrected field is expected to be off by %s uT across its direction", shown(a.ResidualUT, 2), shown(a.ErrorUT, 2))
	field := fmt.Sprintf("%s +- %s uT in the corrected readings", shown(a.FieldUT, 2), shown(a.FieldStandard, 2))
	if a.ReferenceUT != nil {
		field += fmt.Sprintf("; the reference field is %s uT, before correction the ratio was %s", shown(a.ReferenceUT, 2), shown(a.Ratio, 3))
	}
	p.line("  strength     %s", field)
	p.line("  scale        %s", yesNo(a.ScaleFrom == "probe", "the probe's own units", "the reference field: outdoors, away from iron"))
	p.line("  covered      %.0f %% of the sphere, %.0f %% of the attitudes to be flown", 100*a.SphereCovered, 100*a.AttitudesCovered)
	for _, row := range coverageRows(a.Cells) {
		p.line("    %s", row)
	}
	if a.Next != "" && a.SphereCovered < 0.9 {
		p.line("  largest gap  %s", a.Next)
	}
}

func plusMinus(v, u float64) string { return fmt.Sprintf("%.2f +- %.2f", v, u) }
