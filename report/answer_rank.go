package report

import (
	"math"

	"quietmount/survey/findings"
)

// RankAnswer is the answer of `rank`.
type RankAnswer struct {
	Craft     string             `json:"craft"`
	Date      string             `json:"date"`
	Basis     findings.Basis     `json:"basis"`
	BudgetDeg float64            `json:"budget_deg"`
	Qualified bool               `json:"qualified"`
	Why       string             `json:"why"`
	Spots     []spotAnswer       `json:"spots"`
	Excluded  map[string]float64 `json:"excluded"`
	Next      []nextAnswer       `json:"next_stations"`
	Warnings  []string           `json:"warnings"`
	HeadingAt string             `json:"heading_error_for"`

	LeftOut map[string]leftOutAnswer `json:"left_out"`
}

type spotAnswer struct {
	Rank                 int           `json:"rank"`
	Xmm                  float64       `json:"x_mm"`
	Ymm                  float64       `json:"y_mm"`
	Zmm                  float64       `json:"z_mm"`
	HeightMM             float64       `json:"height_mm"`
	NearestStation       string        `json:"nearest_station"`
	Shifting             *headingError `json:"shifting_heading_error_deg"`
	Steady               *headingError `json:"steady_heading_error_deg"`
	SteadyUT             *quantiles    `json:"steady_ut"`
	PlacementToleranceMM *float64      `json:"placement_tolerance_mm"`
	NotToldFromBest      bool          `json:"not_told_from_best"`
	CableMM              *float64      `json:"cable_mm"`
	CGXMM                *float64      `json:"cg_x_mm"`
	CGYMM                *float64      `json:"cg_y_mm"`
	ExtrapolationFactor  *float64      `json:"extrapolation_factor"`
	WorstCombination     []string      `json:"worst_combination"`
	Interpolated         bool          `json:"interpolated"`
	WithinBudget         bool          `json:"within_budget"`
	AnyDirection         bool          `json:"any_direction"`
}

type nextAnswer struct {
	Xmm float64 `json:"x_mm"`
	Ymm float64 `json:"y_mm"`
	Zmm float64 `json:"z_mm"`
	Why string  `json:"why"`
}

// NewRankAnswer carries a ranking into the form that JSON and text are written from.
func NewRankAnswer(f *findings.Findings, r *findings.Ranking) RankAnswer {
	a := RankAnswer{
		Craft: f.Craft.Name, Date: f.Date, Basis: f.Basis,
		BudgetDeg: f.Craft.Limits.HeadingErrorDeg, Qualified: r.Qualified, Why: r.Why,
		Spots: []spotAnswer{}, Excluded: map[string]float64{}, Next: []nextAnswer{},
		Warnings: append(append([]string{}, r.Notes...), f.Notes...), HeadingAt: attitudes(f.Craft.Limits.TiltDeg),
		LeftOut: leftOutParts(f),
	}
	for _, s := range r.Spots {
		a.Spots = append(a.Spots, spotAnswerOf(s))
	}
	for name, share := range r.Excluded {
		a.Excluded[name] = tidy(share)
	}
	for _, n := range r.NextStations {
		a.Next = append(a.Next, nextAnswer{tidy(n.At.X), tidy(n.At.Y), tidy(n.At.Z), n.Why})
	}
	return a
}

func spotAnswerOf(s findings.Spot) spotAnswer {
	return spotAnswer{
		Rank: s.Rank, Xmm: tidy(s.At.X), Ymm: tidy(s.At.Y), Zmm: tidy(s.At.Z), HeightMM: tidy(s.HeightMM),
		NearestStation: s.NearestStation,
		Shifting:       errorOf(&s.Shifting), Steady: errorOf(&s.Steady), SteadyUT: quantilesOf(s.SteadyUT),
		PlacementToleranceMM: number(s.PlacementToleranceMM), NotToldFromBest: s.NotToldFromBest,
		CableMM: number(s.CableMM), CGXMM: number(s.CGXMM), CGYMM: number(s.CGYMM),
		ExtrapolationFactor: number(s.ExtrapolationFactor),
		WorstCombination:    append([]string{}, s.WorstCombination...),
		Interpolated:        s.Interpolated, WithinBudget: s.WithinBudget,
		AnyDirection: s.Shifting.AnyDirection && !math.IsNaN(s.Shifting.Estimate),
	}
}
