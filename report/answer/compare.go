package answer

import (
	"fmt"
	"io"
	"math"
	"strings"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/change"
	"quietmount/report/say"
	"quietmount/report/text"
	"quietmount/report/words"
	"quietmount/survey/compare"
	"quietmount/survey/evaluate"
)

// Compare is the answer of `compare`.
type Compare struct {
	Craft         string           `json:"craft"`
	Part          string           `json:"part"`
	Raw           bool             `json:"raw_fields"`
	BeforeRuns    []int            `json:"before_runs"`
	AfterRuns     []int            `json:"after_runs"`
	Fitted        []string         `json:"fitted"`
	FittedCoded   []Coded          `json:"fitted_coded"`
	Changed       bool             `json:"changed"`
	OverallP      *float64         `json:"overall_p_value"`
	Repeatability *float64         `json:"repeatability_ut"`
	Common        commonChange     `json:"common_change"`
	Stations      []stationChange  `json:"stations"`
	Sources       []changeSource   `json:"sources"`
	Verdict       string           `json:"verdict"` // stands, falls; empty: nothing to judge by
	Spot          *spotBeforeAfter `json:"spot"`
	Why           string           `json:"why"`
	WhyCoded      *Coded           `json:"why_coded"` // null: nothing to judge by
	Cautions
	FalseDiscovery float64  `json:"false_discovery_rate"`
	Pictures       []string `json:"pictures,omitempty"`
	Chosen         bool     `json:"chosen"` // the spot is the one the builder chose
}

type commonChange struct {
	UniformUT [3]float64 `json:"uniform_ut"`
	UniformSD [3]float64 `json:"uniform_standard_uncertainty_ut"`
	TurnDeg   [3]float64 `json:"turn_deg"`
	TurnSD    [3]float64 `json:"turn_standard_uncertainty_deg"`
	Stations  int        `json:"stations"`
}

type stationChange struct {
	Name string `json:"name"`
	placed
	BeforeUT    Vec     `json:"before_ut"`
	AfterUT     Vec     `json:"after_ut"`
	ChangeUT    Vec     `json:"change_ut"`
	SD          Vec     `json:"change_standard_uncertainty_ut"`
	PValue      float64 `json:"p_value"`
	Significant bool    `json:"significant"`
	Slip        bool    `json:"slip"` // a long slip of the hand would explain it
}

type changeSource struct {
	At      Vec     `json:"at_mm"`
	AtSD    Vec     `json:"at_standard_uncertainty_mm"`
	Moment  Vec     `json:"moment_am2"`
	Near    string  `json:"near"` // the part nearest to it; empty: none near
	AwayMM  float64 `json:"from_part_mm"`
	PValue  float64 `json:"p_value"`
	InWords string  `json:"in_words"`
}

type spotBeforeAfter struct {
	Before Spot `json:"before"`
	After  Spot `json:"after"`
}

// The verdicts.
const (
	VerdictStands = "stands"
	VerdictFalls  = "falls"
)

// NewCompare returns a comparison in the form that JSON and text are written
// from, its remarks in the words of a face. chosen reports whether the judged
// spot is the builder's own choice.
func NewCompare(face words.Face, c *compare.Comparison, chosen bool) Compare {
	a := Compare{
		Craft: c.Before.Craft.Name, Part: c.Part, Raw: c.Raw, Changed: c.Result.Changed,
		OverallP: Number(c.Result.OverallP), Repeatability: Number(c.RepeatabilityUT()), FalseDiscovery: change.FalseDiscovery,
		Fitted: face.All(c.Fitted), FittedCoded: CodedAll(face, c.Fitted), Stations: []stationChange{}, Sources: []changeSource{},
		BeforeRuns: runNumbersOf(c.Before), AfterRuns: runNumbersOf(c.After), Cautions: cautions(face, c.Notes), Chosen: chosen,
	}
	m := c.Result.Common
	a.Common = commonChange{
		UniformUT: vecOf(m.UniformUT), TurnDeg: vecOf(m.TurnDeg), Stations: m.Stations,
		UniformSD: deviations(m.UniformCov), TurnSD: deviations(m.TurnCov),
	}
	for _, s := range c.Stations {
		a.Stations = append(a.Stations, stationChange{
			Name: s.Station.Name, placed: placedAt(s.Station.At),
			BeforeUT: vecOf(s.Before), AfterUT: vecOf(s.After), ChangeUT: vecOf(s.Test.Change), SD: deviations(s.Test.Cov),
			PValue: say.Tidy(s.Test.P), Significant: s.Test.Significant, Slip: s.Test.Slip,
		})
	}
	for _, s := range c.Sources {
		a.Sources = append(a.Sources, changeSourceOf(s))
	}
	if v := c.Verdict; v != nil {
		a.Verdict, a.Why, a.WhyCoded = VerdictFalls, face.Say(v.Why), new(CodedOf(face, v.Why))
		if v.Stands {
			a.Verdict = VerdictStands
		}
		a.Spot = &spotBeforeAfter{SpotOf(v.Before), SpotOf(v.After)}
	}
	return a
}

func runNumbersOf(f *evaluate.Findings) []int {
	out := []int{}
	for _, r := range f.Runs {
		out = append(out, r.Header.Run)
	}
	return out
}

// deviations returns the square roots of a covariance's diagonal.
func deviations(m [3][3]float64) Vec {
	var out Vec
	for i := range out {
		out[i] = say.Tidy(math.Sqrt(max(0, m[i][i])))
	}
	return out
}

func changeSourceOf(s compare.ChangeSource) changeSource {
	out := changeSource{
		At: vecOf(s.AtMM), AtSD: deviations(s.AtCov), Moment: vecOf(s.MomentAm2),
		Near: s.Nearest.Part, AwayMM: say.Tidy(r3.Norm(s.Nearest.Offset)), PValue: say.Tidy(s.P),
	}
	where := fmt.Sprintf("near x %.0f, y %.0f, z %.0f mm", s.AtMM.X, s.AtMM.Y, s.AtMM.Z)
	if out.Near != "" {
		where += fmt.Sprintf(", %.0f mm from %q", out.AwayMM, out.Near)
	}
	out.InWords = fmt.Sprintf("A new magnet, or one that was moved or taken away, %s (within about %.0f mm; moment %.2g A m2).",
		where, 2*math.Sqrt(s.AtCov.Trace()/3), r3.Norm(s.MomentAm2))
	return out
}

// Text prints the comparison.
func (a Compare) Text(w io.Writer) error {
	p := text.NewPrinter(w)
	part := a.Part + " part"
	if a.Raw {
		part += ", raw fields"
	}
	p.Sentence(fmt.Sprintf("%s: what changed (%s; before: runs %s, after: runs %s).", say.Named(a.Craft), part, numbersIn(a.BeforeRuns), numbersIn(a.AfterRuns)))
	for _, s := range a.Fitted {
		p.Sentence(s)
	}
	if len(a.Fitted) == 0 {
		p.Sentence("The same things were fitted both times, as far as the runs say.")
	}
	u, turn := a.Common.UniformUT, a.Common.TurnDeg
	p.Sentence(fmt.Sprintf("Common to all stations and taken out: %s, %s, %s uT, and a turn of the probe by %s, %s, %s degrees about x, y, z.",
		say.Signed(u[0]), say.Signed(u[1]), say.Signed(u[2]), say.Signed(turn[0]), say.Signed(turn[1]), say.Signed(turn[2])))
	p.Line("")
	p.Table(a.table())
	p.Line("")
	p.Sentence(a.Summary())
	for _, s := range a.Sources {
		p.Sentence(s.InWords)
	}
	if a.Spot != nil {
		p.Sentence(a.VerdictWords())
	}
	a.Cautions.print(p)
	return p.Err()
}

func numbersIn(n []int) string {
	words := make([]string, len(n))
	for i, v := range n {
		words[i] = fmt.Sprint(v)
	}
	return strings.Join(words, ", ")
}

func (a Compare) table() text.Table {
	t := text.Table{Head: [][]string{
		{"", "change", "", "", "+-", "", ""},
		{"station", "x", "y", "z", "uT", "p", ""},
	}}
	for _, s := range a.Stations {
		mark := ""
		switch {
		case s.Significant:
			mark = "changed"
		case s.Slip:
			mark = "slip?"
		}
		sd := math.Sqrt((s.SD[0]*s.SD[0] + s.SD[1]*s.SD[1] + s.SD[2]*s.SD[2]) / 3)
		t.Rows = append(t.Rows, []string{s.Name, say.Signed(s.ChangeUT[0]), say.Signed(s.ChangeUT[1]), say.Signed(s.ChangeUT[2]), fmt.Sprintf("%.1f", sd), chanceWords(s.PValue), mark})
	}
	return t
}

func chanceWords(p float64) string {
	if p < 0.001 {
		return "<0.001"
	}
	return fmt.Sprintf("%.3f", p)
}

// Summary returns a sentence on how many stations changed.
func (a Compare) Summary() string {
	n := 0
	for _, s := range a.Stations {
		if s.Significant {
			n++
		}
	}
	switch {
	case n > 0:
		return fmt.Sprintf("Changed at %d of %d stations (of those called changed, at most %.0f per cent are expected to be false alarms).", n, len(a.Stations), 100*a.FalseDiscovery)
	case a.Changed:
		return "No single station changed beyond doubt, but all together differ by more than chance: something small changed, or the survey was less careful than its repeats say."
	}
	return "No change that two surveys of the same craft would not show anyway."
}

// VerdictWords returns a sentence on what the change means for the spot; empty
// if no spot could be ranked before.
func (a Compare) VerdictWords() string {
	if a.Spot == nil {
		return ""
	}
	which := "The first spot of the ranking before"
	if a.Chosen {
		which = "The chosen spot"
	}
	return fmt.Sprintf("%s %s: %s.", which, a.Verdict, a.Why)
}
