package report

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/survey/findings"
)

// SourcesAnswer is the answer of `sources`.
type SourcesAnswer struct {
	Craft       string          `json:"craft"`
	Date        string          `json:"date"`
	Sources     []sourceAnswer  `json:"sources"`
	Unexplained float64         `json:"unexplained"`
	States      []statesAnswer  `json:"states"`
	Nothing     []nothingAnswer `json:"explain_nothing"`
	Warnings    []string        `json:"warnings"`
}

type sourceAnswer struct {
	Kind    string     `json:"kind"`
	Part    *string    `json:"part"`
	State   string     `json:"state"`
	At      vec        `json:"at_mm"`
	AtSD    vec        `json:"at_standard_uncertainty_mm"`
	Moment  *vec       `json:"moment_am2"`
	Size    *float64   `json:"moment_standard_uncertainty_am2"`
	Current *float64   `json:"current_a"`
	Amps    *float64   `json:"current_standard_uncertainty_a"`
	Gap     *float64   `json:"gap_mm"`
	Path    []vec      `json:"path_mm,omitempty"`
	Safe    safeAnswer `json:"safe_distance_mm"`
	Upper   safeAnswer `json:"safe_distance_upper95_mm"`
	Budget  float64    `json:"budget_ut"`

	Share    float64  `json:"share"` // of what there is in its state, noise included
	P        float64  `json:"p_value"`
	Probably *string  `json:"probably"`
	Nearest  *string  `json:"nearest_part"`
	Offset   vec      `json:"from_nearest_mm"`
	Stray    *float64 `json:"off_stated_place_mm"`
	Where    string   `json:"where"`
}

type safeAnswer struct {
	Budget   *float64 `json:"budget"`
	Standard *float64 `json:"standard"`
	Reduced  *float64 `json:"reduced"`
}

type statesAnswer struct {
	State       string   `json:"state"`
	Stations    int      `json:"stations"`
	Unexplained float64  `json:"unexplained"`
	Quiet       bool     `json:"within_noise"`
	Scale       float64  `json:"misfit_factor"`
	Alike       [][2]int `json:"not_told_apart"` // indices of `sources`
	LeftOut     []string `json:"stations_left_out"`
}

type nothingAnswer struct {
	Part  string  `json:"part"`
	State string  `json:"state"`
	P     float64 `json:"p_value"`
}

// NewSourcesAnswer carries sources into the form that JSON and text are written from.
func NewSourcesAnswer(f *findings.Findings, all *findings.SourceFindings) SourcesAnswer {
	a := SourcesAnswer{
		Craft: f.Craft.Name, Date: f.Date, Unexplained: tidy(all.Unexplained),
		Sources: []sourceAnswer{}, States: []statesAnswer{}, Nothing: []nothingAnswer{},
		Warnings: append(append([]string{}, all.Notes...), f.Notes...),
	}
	for _, s := range all.States {
		st := statesAnswer{
			State: s.State, Stations: s.Stations, Unexplained: tidy(s.Unexplained), Quiet: s.Quiet, Scale: tidy(s.Scale),
			Alike: [][2]int{}, LeftOut: append([]string{}, s.Lone...),
		}
		first := len(a.Sources)
		for _, p := range s.Alike {
			st.Alike = append(st.Alike, [2]int{first + p[0], first + p[1]})
		}
		a.States = append(a.States, st)
		for _, c := range s.Sources {
			a.Sources = append(a.Sources, sourceAnswerOf(c))
		}
		for _, c := range s.Nothing {
			a.Nothing = append(a.Nothing, nothingAnswer{c.Name, c.State, tidy(c.P)})
		}
	}
	return a
}

func sourceAnswerOf(c findings.SourceFinding) sourceAnswer {
	a := sourceAnswer{
		Kind: string(c.Kind), Part: textOrNil(c.Name), State: c.State,
		At: vecOf(c.AtMM), AtSD: vecOf(r3.Vec{X: math.Sqrt(c.AtCov[0][0]), Y: math.Sqrt(c.AtCov[1][1]), Z: math.Sqrt(c.AtCov[2][2])}),
		Safe:   safeAnswer{number(c.SafeBudgetMM), number(c.SafeStandardMM), number(c.SafeReducedMM)},
		Upper:  safeAnswer{number(c.SafeUpper95MM.Budget), number(c.SafeUpper95MM.Standard), number(c.SafeUpper95MM.Reduced)},
		Budget: tidy(c.BudgetUT), Share: tidy(c.Share), P: tidy(c.P),
		Probably: textOrNil(c.Probably), Nearest: textOrNil(c.Nearest.Part), Offset: vecOf(c.Nearest.Offset),
		Where: placeWords(c.Nearest),
	}
	if c.Name != "" {
		a.Stray = number(c.StrayMM)
	}
	if c.Kind == source.KindLead {
		a.Current, a.Amps, a.Gap = number(c.CurrentA), number(c.CurrentSD), number(c.GapMM)
		for _, p := range c.PathMM {
			a.Path = append(a.Path, vecOf(p))
		}
		return a
	}
	a.Moment, a.Size = new(vecOf(c.MomentAm2)), number(math.Sqrt(c.MomentCov.Trace()/3))
	return a
}

func textOrNil(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
