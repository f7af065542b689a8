package answer

import (
	"math"
	"strings"

	"quietmount/magmath/heading"
	"quietmount/magmath/siting"
	"quietmount/report/say"
	"quietmount/report/words"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// Rank is the answer of `rank`.
type Rank struct {
	Craft     string                            `json:"craft"`
	Date      string                            `json:"date"`
	Basis     evaluate.Basis                    `json:"basis"`
	BudgetDeg float64                           `json:"budget_deg"`
	Qualified bool                              `json:"qualified"`
	Why       string                            `json:"why"`
	WhyCoded  []Coded                           `json:"why_coded"`
	Spots     []Spot                            `json:"spots"`
	Excluded  map[siting.ConstraintName]float64 `json:"excluded"`
	Next      []next                            `json:"next_stations"`

	Relaxations []relaxation `json:"relaxations"`
	Costs       []string     `json:"costs"` // what relaxing a constraint would buy
	CostsCoded  []Coded      `json:"costs_coded"`
	Cautions
	Checked
	HeadingAt string `json:"heading_error_for"`

	LeftOut map[string]leftOut `json:"left_out"`
}

// Spot is a ranked place for the module.
type Spot struct {
	Rank int `json:"rank"`
	placed
	HeightMM             float64            `json:"height_mm"`
	NearestStation       string             `json:"nearest_station"`
	FromMarks            []FromMark         `json:"from_marks"`
	Place                string             `json:"place"` // the same in words, with the height
	by                   string             // the same in words, from no more marks than fix it
	Shifting             *heading.Error     `json:"shifting_heading_error_deg"`
	Level                *heading.Error     `json:"level_heading_error_deg"`
	ExpectedDeg          *float64           `json:"expected_heading_error_deg"`
	Steady               *heading.Error     `json:"steady_heading_error_deg"`
	SteadyUT             *heading.Quantiles `json:"steady_ut"`
	PlacementToleranceMM *float64           `json:"placement_tolerance_mm"`
	NotToldFromBest      bool               `json:"not_told_from_best"`
	CableMM              *float64           `json:"cable_mm"`
	CGXMM                *float64           `json:"cg_x_mm"`
	CGYMM                *float64           `json:"cg_y_mm"`
	ExtrapolationFactor  *float64           `json:"extrapolation_factor"`
	WorstCombination     []string           `json:"worst_combination"`
	WorstReversed        []string           `json:"worst_combination_reversed"` // the loads of it whose current is reversed
	Interpolated         bool               `json:"interpolated"`
	WithinBudget         bool               `json:"within_budget"`
	BoundWithin          bool               `json:"bound_within_budget"`
	AnyDirection         bool               `json:"any_direction"`
}

type next struct {
	placed
	Why string `json:"why"`

	WhyCoded Coded `json:"why_coded"`
}

// NewRank returns a ranking in the form that JSON and text are written from, its
// remarks in the words of a face.
func NewRank(face words.Face, f *evaluate.Findings, r *rank.Ranking) Rank {
	a := Rank{
		Craft: f.Craft.Name, Date: f.Date, Basis: f.Basis,
		BudgetDeg: f.Craft.Limits.HeadingErrorDeg, Qualified: r.Qualified,
		Why: strings.Join(face.All(r.Why), "; "), WhyCoded: CodedAll(face, r.Why),
		Spots: []Spot{}, Excluded: map[siting.ConstraintName]float64{}, Next: []next{},
		Relaxations: relaxationsOf(r), Costs: face.All(r.Costs()), CostsCoded: CodedAll(face, r.Costs()),
		Cautions: cautions(face, r.Notes, f.Notes), HeadingAt: say.Attitudes(f.Craft.Limits),
		LeftOut: leftOutParts(f), Checked: ChecksOf(face, r.Checks),
	}
	for _, s := range r.Spots {
		a.Spots = append(a.Spots, SpotOf(s))
	}
	for name, share := range r.Excluded {
		a.Excluded[name] = say.Tidy(share)
	}
	for _, n := range r.NextStations {
		a.Next = append(a.Next, next{placedAt(n.At), face.Say(n.Why), CodedOf(face, n.Why)})
	}
	return a
}

// SpotOf returns a spot in the form of an answer.
func SpotOf(s rank.Spot) Spot {
	return Spot{
		Rank: s.Rank, placed: placedAt(s.At), HeightMM: say.Tidy(s.HeightMM),
		NearestStation: s.NearestStation, FromMarks: fromMarks(s.FromMarks), Place: say.FromMarks(s.FromMarks, s.HeightMM), by: say.FromFewest(s.FromMarks),
		Shifting: ErrorOf(&s.Shifting), Level: ErrorOf(&s.Level), ExpectedDeg: Number(s.Expected), Steady: ErrorOf(&s.Steady), SteadyUT: tidied(s.SteadyUT),
		PlacementToleranceMM: Number(s.PlacementToleranceMM), NotToldFromBest: s.NotToldFromBest,
		CableMM: Number(s.CableMM), CGXMM: Number(s.CGXMM), CGYMM: Number(s.CGYMM),
		ExtrapolationFactor: Number(s.ExtrapolationFactor),
		WorstCombination:    append([]string{}, s.WorstCombination...),
		WorstReversed:       append([]string{}, s.WorstReversed...),
		Interpolated:        s.Interpolated, WithinBudget: s.WithinBudget, BoundWithin: s.BoundWithin,
		AnyDirection: s.Shifting.AnyDirection && !math.IsNaN(s.Shifting.Estimate),
	}
}
