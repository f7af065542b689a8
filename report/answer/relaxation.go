package answer

import (
	"quietmount/magmath/heading"
	"quietmount/magmath/siting"
	"quietmount/report/say"
	"quietmount/survey/rank"
)

// relaxation is what one constraint costs: by how much it must give way, alone, and
// what that buys. Where nothing worth saying is gained the place is that of spot 1.
type relaxation struct {
	Constraint siting.ConstraintName `json:"constraint"`
	Gains      bool                  `json:"gains"`
	ByDeg      *float64              `json:"by_deg"` // of the budget
	Part       *string               `json:"part"`   // that moves to restore the balance
	opening
	Best *opening `json:"best"` // the best place without the constraint
}

// opening is a place that a relaxation opens; null where there is none.
type opening struct {
	ByMM           *float64       `json:"by_mm"`
	MoveMM         *float64       `json:"move_mm"` // of the part, forward positive; null: nothing moves
	Xmm            *float64       `json:"x_mm"`
	Ymm            *float64       `json:"y_mm"`
	Zmm            *float64       `json:"z_mm"`
	HeightMM       *float64       `json:"height_mm"`
	NearestStation *string        `json:"nearest_station"`
	Shifting       *heading.Error `json:"shifting_heading_error_deg"`
	ExpectedDeg    *float64       `json:"expected_heading_error_deg"`
	Qualifies      bool           `json:"qualifies"`
	Interpolated   bool           `json:"interpolated"`
}

func relaxationsOf(r *rank.Ranking) []relaxation {
	out := []relaxation{}
	for _, x := range r.Relaxations {
		one := relaxation{Constraint: x.Constraint, Gains: x.Gains, ByDeg: Number(x.ByDeg)}
		if x.Part != "" {
			one.Part = &x.Part
		}
		if x.Least != nil {
			one.opening = openingOf(*x.Least)
		}
		if x.Best != nil {
			one.Best = new(openingOf(*x.Best))
		}
		out = append(out, one)
	}
	return out
}

func openingOf(o rank.Opening) opening {
	return opening{
		ByMM: Number(o.ByMM), MoveMM: Number(o.MoveMM), Xmm: Number(o.At.X), Ymm: Number(o.At.Y), Zmm: Number(o.At.Z), HeightMM: new(say.Tidy(o.HeightMM)),
		NearestStation: &o.NearestStation, Shifting: ErrorOf(&o.Shifting), ExpectedDeg: Number(o.Expected), Qualifies: o.Qualifies, Interpolated: o.Interpolated,
	}
}
