package answer

import (
	"fmt"
	"io"
	"strings"

	"quietmount/magmath/calib"
	"quietmount/magmath/remark"
	"quietmount/magmath/swing"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/link"
	"quietmount/survey/logbook"
)

// Calibrate is the answer of `calibrate`.
type Calibrate struct {
	Accepted bool    `json:"accepted"`
	Why      string  `json:"why"`
	WhyCoded []Coded `json:"why_coded"` // the choice, or each refusal
	ID       string  `json:"id"`        // of the stored calibration; empty: not stored
	File     string  `json:"file"`      // where it is stored
	Source   string  `json:"source"`

	Offset         Vec            `json:"offset_ut"`
	Matrix         *[3][3]float64 `json:"matrix"`
	Parameters     int            `json:"parameters"`
	OffsetStandard Vec            `json:"offset_standard_uncertainty_ut"`
	OffsetHalf     Vec            `json:"offset_interval95_ut"` // half its width
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
	LikelyCoded   []Coded  `json:"likely_reasons_coded"`

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

	Candidates []candidate  `json:"candidates"`
	PriorGain  float64      `json:"prior_gain"`
	PriorCross float64      `json:"prior_cross"`
	Changes    []float64    `json:"changes_s"`
	Steady     [][2]float64 `json:"steady_s"`
	Stretches  [][2]float64 `json:"rejected_stretches_s"` // in which readings disagree with the others
	Refusals   []named      `json:"refusals"`
	Remarks    []named      `json:"remarks"`

	OnCraft bool     `json:"on_craft"`
	Promise *Promise `json:"steady_promise,omitempty"` // of the finished craft

	use string
}

type candidate struct {
	Parameters int      `json:"parameters"`
	NoiseUT    *float64 `json:"noise_ut"`
	LeftOutUT  *float64 `json:"left_out_ut"`
	TotalUT    *float64 `json:"total_ut"`
}

// named is a remark under its name within the topic.
type named struct {
	Code   string        `json:"code"`
	Text   string        `json:"text"`
	Values remark.Values `json:"values,omitempty"`
}

// CalibrateInput is what `calibrate` found.
type CalibrateInput struct {
	Face        words.Face
	Result      calib.Result
	ReferenceUT float64
	Source      string
	ID, File    string // where it was stored; empty: it was not
	Use         string // the command that applies it
	OnCraft     bool   // the module was mounted
	Promise     *swing.SteadyPromise
	Kept        swing.Kept // of Promise
}

// NewCalibrate returns a calibration in the form that JSON and text are written
// from.
func NewCalibrate(in CalibrateInput) Calibrate {
	r := in.Result
	a := Calibrate{
		Accepted: r.Accepted, ID: in.ID, File: in.File, Source: in.Source, use: in.Use,
		Offset: vecOf(r.OffsetUT), Matrix: matOf(r.Matrix), Parameters: r.Parameters,
		OffsetStandard: vecOf(r.OffsetStandardUT), OffsetHalf: vecOf(r.Interval95UT()), MatrixStandard: matOf(r.MatrixStandard), Covariance: r.Covariance,
		ResidualUT: Number(r.ResidualUT), NoiseUT: Number(r.NoiseUT), ErrorUT: Number(r.ErrorUT),
		ScaleFrom: logbook.ScaleWord(r.Scale), FieldUT: Number(r.FieldUT), FieldStandard: Number(r.FieldStandardUT),
		ReferenceUT: positive(in.ReferenceUT), Ratio: positive(r.Ratio), Likely: []string{}, LikelyCoded: []Coded{},
		Samples: r.Samples, Repeated: r.Repeated, Rejected: r.Rejected, Saturated: r.Saturated, EffectiveSamples: Number(r.EffectiveSamples), DegreesOfFreedom: Number(r.DegreesOfFreedom),
		SphereCovered: say.Tidy(r.SphereCovered), AttitudesCovered: say.Tidy(r.AttitudesCovered),
		PriorGain: say.Tidy(r.Prior.Gain), PriorCross: say.Tidy(r.Prior.Cross),
		Candidates: []candidate{}, Changes: []float64{}, Steady: [][2]float64{}, Stretches: [][2]float64{}, Refusals: namedAll(in.Face, r.Refusals), Remarks: namedAll(in.Face, r.Remarks),
	}
	why := r.Refusals
	if r.Accepted {
		why = []remark.Remark{r.Chosen}
	}
	a.Why, a.WhyCoded = strings.Join(in.Face.All(why), "; "), CodedAll(in.Face, why)
	if r.Gap != nil {
		a.Next = in.Face.Say(r.Gap.Remark())
	}
	a.lists(in.Face, r)
	a.OnCraft = in.OnCraft
	if in.Promise != nil {
		a.Promise = new(NewPromise(*in.Promise, in.Kept))
	}
	return a
}

// OK reports whether the calibration was accepted and, if compared with the
// map's promise, keeps it.
func (a Calibrate) OK() bool { return a.Accepted && (a.Promise == nil || a.Promise.Kept) }

func (a *Calibrate) lists(face words.Face, r calib.Result) {
	for i := range a.Covariance {
		for j := range a.Covariance[i] {
			a.Covariance[i][j] = say.Tidy(a.Covariance[i][j])
		}
	}
	a.Cells = make([]int, calib.Cells)
	for i := range a.Cells {
		if r.Coverage.Seen(i) {
			a.Cells[i] = 1
		}
	}
	for _, c := range r.Candidates {
		a.Candidates = append(a.Candidates, candidate{c.Parameters, Number(c.NoiseUT), Number(c.LeftOutUT), Number(c.TotalUT)})
	}
	for _, t := range r.Changes {
		a.Changes = append(a.Changes, say.Tidy(t))
	}
	for _, s := range r.Steady {
		a.Steady = append(a.Steady, [2]float64{say.Tidy(s.FromS), say.Tidy(s.ToS)})
	}
	for _, s := range r.Stretches {
		a.Stretches = append(a.Stretches, [2]float64{say.Tidy(s.FromS), say.Tidy(s.ToS)})
	}
	if r.Ratio > 0.78 && r.Ratio < 1.28 {
		return // a room and the probe's own gain explain that
	}
	likely := link.ReasonsFor(r.Ratio)
	a.Likely, a.LikelyCoded = face.All(likely), CodedAll(face, likely)
}

func namedOf(face words.Face, r remark.Remark) named {
	c := CodedOf(face, r)
	return named{r.Name(), c.Text, c.Values}
}

func namedAll(face words.Face, list []remark.Remark) []named {
	out := []named{}
	for _, r := range list {
		out = append(out, namedOf(face, r))
	}
	return out
}

// positive is a number that 0 says nothing of.
func positive(v float64) *float64 {
	if !(v > 0) {
		return nil
	}
	return Number(v)
}

// Text says the same for a reader.
func (a Calibrate) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	p.Line("%s from %s: %d repeated, %d left out", say.Counted(a.Samples, "reading"), a.Source, a.Repeated, a.Rejected)
	changed := !a.Accepted && len(a.Changes) > 0
	if a.Parameters > 0 && !changed {
		a.numbers(p)
	}
	for _, r := range a.Remarks {
		p.Line("  look: %s", r.Text)
	}
	if !changed {
		for _, reason := range a.Likely {
			p.Line("  likely: %s", reason)
		}
	}
	if !a.Accepted {
		for _, r := range a.Refusals {
			p.Line("  STOP: %s", r.Text)
		}
		if len(a.Steady) > 1 {
			p.Line("  one stretch only: add --from-s and --to-s, e.g. %s", stretch(a.Steady))
		}
		p.Line("Not accepted; nothing was stored.")
		return p.Err()
	}
	p.Line("  chosen: %s", a.Why)
	p.Line("Accepted: stored as calibration %s (%s).", a.ID, a.File)
	p.Line("Use it: %s", a.use)
	if a.Promise != nil {
		p.Sentence(a.Promise.Why)
	}
	return p.Err()
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

func (a Calibrate) numbers(p *text.Printer) {
	p.Line("  offset       x %s  y %s  z %s uT", plusMinus(a.Offset[0], a.OffsetStandard[0]), plusMinus(a.Offset[1], a.OffsetStandard[1]), plusMinus(a.Offset[2], a.OffsetStandard[2]))
	for i, row := range a.Matrix {
		p.Line("  %-12s %9.5f %9.5f %9.5f", say.YesNo(i == 0, "matrix", ""), row[0], row[1], row[2])
	}
	p.Line("  residual     %s uT; a corrected field is expected to be off by %s uT across its direction", say.Shown(a.ResidualUT, 2), say.Shown(a.ErrorUT, 2))
	field := fmt.Sprintf("%s +- %s uT in the corrected readings", say.Shown(a.FieldUT, 2), say.Shown(a.FieldStandard, 2))
	if a.ReferenceUT != nil {
		field += fmt.Sprintf("; the reference field is %s uT, before correction the ratio was %s", say.Shown(a.ReferenceUT, 2), say.Shown(a.Ratio, 3))
	}
	p.Line("  strength     %s", field)
	p.Line("  scale        %s", say.YesNo(a.ScaleFrom == "probe", "the probe's own units", "the reference field: outdoors, away from iron"))
	p.Line("  covered      %.0f %% of the sphere, %.0f %% of the attitudes to be flown", 100*a.SphereCovered, 100*a.AttitudesCovered)
	for _, row := range coverageRows(a.Cells) {
		p.Line("    %s", row)
	}
	if a.Next != "" && a.SphereCovered < 0.9 {
		p.Line("  largest gap  %s", a.Next)
	}
}

func plusMinus(v, u float64) string { return fmt.Sprintf("%.2f +- %.2f", v, u) }
