package answer

import (
	"math"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/source"
	"quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/sources"
)

// Sources is the answer of `sources`.
type Sources struct {
	Craft       string         `json:"craft"`
	Date        string         `json:"date"`
	Sources     []Source       `json:"sources"`
	Unexplained float64        `json:"unexplained"`
	States      []StateSources `json:"states"`
	Nothing     []nothing      `json:"explain_nothing"`
	Cautions
}

// Source is something that may cause disturbances: a magnet or a lead.
type Source struct {
	Kind    string   `json:"kind"`
	Part    *string  `json:"part"`
	State   string   `json:"state"`
	At      Vec      `json:"at_mm"`
	AtSD    Vec      `json:"at_standard_uncertainty_mm"`
	Moment  *Vec     `json:"moment_am2"`
	Size    *float64 `json:"moment_standard_uncertainty_am2"`
	Current *float64 `json:"current_a"`
	Amps    *float64 `json:"current_standard_uncertainty_a"`
	Gap     *float64 `json:"gap_mm"`
	Path    []Vec    `json:"path_mm,omitempty"`
	Safe    safe     `json:"safe_distance_mm"`
	Upper   safe     `json:"safe_distance_upper95_mm"`
	Budget  float64  `json:"budget_ut"`

	Share    float64  `json:"share"` // of what there is in its state, noise included
	P        float64  `json:"p_value"`
	Probably *string  `json:"probably"`
	Nearest  *string  `json:"nearest_part"`
	Offset   Vec      `json:"from_nearest_mm"`
	Stray    *float64 `json:"off_stated_place_mm"`
	Where    string   `json:"where"`
}

type safe struct {
	Budget   *float64 `json:"budget"`
	Standard *float64 `json:"standard"`
	Reduced  *float64 `json:"reduced"`
}

// StateSources are the sources that explain the disturbances of one state;
// Alike holds indices into Sources.Sources.
type StateSources struct{ sources.StateSources }

type nothing struct {
	Part  string  `json:"part"`
	State string  `json:"state"`
	P     float64 `json:"p_value"`
}

// NewSources returns sources in the form that JSON and text are written from,
// their remarks in the words of a face.
func NewSources(face words.Face, f *evaluate.Findings, all *sources.Findings) Sources {
	a := Sources{
		Craft: f.Craft.Name, Date: f.Date, Unexplained: say.Tidy(all.Unexplained),
		Sources: []Source{}, States: []StateSources{}, Nothing: []nothing{},
		Cautions: cautions(face, all.Notes, f.Notes),
	}
	for _, s := range all.States {
		st := StateSources{s}
		st.Sources, st.Nothing = nil, nil
		st.Unexplained, st.Scale, st.Alike, st.Lone = say.Tidy(s.Unexplained), say.Tidy(s.Scale), [][2]int{}, append([]string{}, s.Lone...)
		first := len(a.Sources)
		for _, p := range s.Alike {
			st.Alike = append(st.Alike, [2]int{first + p[0], first + p[1]})
		}
		a.States = append(a.States, st)
		for _, c := range s.Sources {
			a.Sources = append(a.Sources, sourceOf(c))
		}
		for _, c := range s.Nothing {
			a.Nothing = append(a.Nothing, nothing{c.Name, c.State, say.Tidy(c.P)})
		}
	}
	return a
}

func sourceOf(c sources.Source) Source {
	a := Source{
		Kind: string(c.Kind), Part: textOrNil(c.Name), State: c.State,
		At: vecOf(c.AtMM), AtSD: vecOf(r3.Vec{X: math.Sqrt(c.AtCov[0][0]), Y: math.Sqrt(c.AtCov[1][1]), Z: math.Sqrt(c.AtCov[2][2])}),
		Safe:   safe{Number(c.SafeMM.Budget), Number(c.SafeMM.Standard), Number(c.SafeMM.Reduced)},
		Upper:  safe{Number(c.SafeUpper95MM.Budget), Number(c.SafeUpper95MM.Standard), Number(c.SafeUpper95MM.Reduced)},
		Budget: say.Tidy(c.BudgetUT), Share: say.Tidy(c.Share), P: say.Tidy(c.P),
		Probably: textOrNil(c.Probably), Nearest: textOrNil(c.Nearest.Part), Offset: vecOf(c.Nearest.Offset),
		Where: say.Place(c.Nearest),
	}
	if c.Name != "" {
		a.Stray = Number(c.StrayMM)
	}
	if c.Kind == source.KindLead {
		a.Current, a.Amps, a.Gap = Number(c.CurrentA), Number(c.CurrentSD), Number(c.GapMM)
		for _, p := range c.PathMM {
			a.Path = append(a.Path, vecOf(p))
		}
		return a
	}
	a.Moment, a.Size = new(vecOf(c.MomentAm2)), Number(math.Sqrt(c.MomentCov.Trace()/3))
	return a
}

func textOrNil(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
