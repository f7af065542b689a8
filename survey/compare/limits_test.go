package compare

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/magmath/heading"
	"quietmount/survey"
	"quietmount/survey/evaluate"
	"quietmount/survey/rank"
)

// The verdict goes by the bound as mounted and by whether the hand can hit the spot,
// and says which of them decides.
func TestUnderLimits(t *testing.T) {
	craft := &survey.Craft{}
	craft.Limits.HeadingErrorDeg, craft.Limits.SlipMM = 5, 3
	f := &evaluate.Findings{Craft: craft}
	spot := func(upper, level, tolerance float64, within, steady bool) rank.Spot {
		return rank.Spot{
			Shifting: heading.Error{Quantiles: heading.Quantiles{Upper95: upper}}, Level: heading.Error{Quantiles: heading.Quantiles{Upper95: level}},
			PlacementToleranceMM: tolerance, WithinBudget: within, WithinSteady: steady,
		}
	}
	for _, c := range []struct {
		s      rank.Spot
		stands bool
		why    string
	}{
		{spot(4, 2, 6, true, true), true, "compare.within_budget"},
		{spot(6, 2, 0, false, true), false, "compare.over_budget"},
		{spot(4.5, 2, 1, false, true), false, "compare.tolerance"},
		{spot(4, 2, 6, true, false), false, "compare.over_steady"},
		{spot(math.NaN(), math.NaN(), 0, true, true), true, "compare.under_steady"},
	} {
		stands, why := underLimits(c.s, f)
		if stands != c.stands || why.Code != c.why {
			t.Errorf("upper %.1f, tolerance %.0f: stands %v by %q, want %v by %q", c.s.Shifting.Upper95, c.s.PlacementToleranceMM, stands, why.Code, c.stands, c.why)
		}
	}
}

// The ambient field differs between surveys by what the rooms measured show, else by
// the turn of the nose; of several set-ups the nearest two count.
func TestAmbientTurn(t *testing.T) {
	deg := func(v float64) *float64 { return &v }
	field := func(x, y float64) *r3.Vec { return &r3.Vec{X: x, Y: y, Z: 40} }
	survey := func(rooms ...evaluate.RoomFinding) *evaluate.Findings {
		f := &evaluate.Findings{HUT: 30, Rooms: rooms}
		f.Reference.F = 50000
		return f
	}
	for _, c := range []struct {
		name          string
		before, after *evaluate.Findings
		want          float64
	}{
		{"rooms turned by a right angle", survey(evaluate.RoomFinding{FieldUT: field(30, 0)}), survey(evaluate.RoomFinding{FieldUT: field(0, 30)}), math.Sqrt2 * 30 / 50},
		{"noses 60 degrees apart", survey(evaluate.RoomFinding{NoseDeg: deg(350)}), survey(evaluate.RoomFinding{NoseDeg: deg(50)}), 0.6},
		{"two noses each", survey(evaluate.RoomFinding{FieldUT: field(30, 0)}, evaluate.RoomFinding{FieldUT: field(-30, 0)}),
			survey(evaluate.RoomFinding{FieldUT: field(-30, 0)}, evaluate.RoomFinding{FieldUT: field(30, 0)}), 0},
		{"nothing known", survey(evaluate.RoomFinding{}), survey(evaluate.RoomFinding{}), 0},
	} {
		if got := (&Comparison{Before: c.before, After: c.after}).ambientTurn(); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %g, want %g", c.name, got, c.want)
		}
	}
}
