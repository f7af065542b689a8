package rank

import (
	"math"
	"testing"

	"gonum.org/v1/gonum/spatial/r3"

	"quietmount/survey"
)

// By hand: a lead along x at z = 0 from 0 to 100, its return 30 to the right.
func TestNothingIsPredictedOnALead(t *testing.T) {
	p := survey.Part{PathMM: []r3.Vec{{}, {X: 100}}, GapMM: 14}
	for _, c := range []struct {
		name string
		at   r3.Vec
		back []r3.Vec
		want bool
	}{
		{"between the conductors", r3.Vec{X: 50, Y: 6}, nil, false},
		{"beyond the gap", r3.Vec{X: 50, Y: 8, Z: -12}, nil, true},
		{"past its end", r3.Vec{X: 115}, nil, true},
		{"at its end", r3.Vec{X: 109}, nil, false},
		{"beside the return", r3.Vec{X: 50, Y: 39}, []r3.Vec{{X: 100, Y: 30}, {Y: 30}}, false},
	} {
		p.ReturnPathMM = c.back
		if got := leadMargin(p, c.at) >= 0; got != c.want {
			t.Errorf("%s: clear %v", c.name, got)
		}
	}
}

// By hand: 14 mm of gap reach farther than the usual 10 mm; past the end the
// distance is to the end; of two leads the nearer counts.
func TestLeadMargin(t *testing.T) {
	wide := survey.Part{PathMM: []r3.Vec{{}, {X: 100}}, GapMM: 14}
	narrow := survey.Part{PathMM: []r3.Vec{{Y: 60}, {X: 100, Y: 60}}}
	c := &survey.Craft{Parts: []survey.Part{wide, {Name: "battery", AtMM: &r3.Vec{}}, narrow}}
	for at, want := range map[r3.Vec]float64{
		{X: 50, Y: 20}: 6, {X: 50, Y: 3, Z: -4}: -9, {X: 130, Y: -40}: 36, {X: 10, Y: 57}: -7,
	} {
		if got := LeadMarginMM(c, at); math.Abs(got-want) > 1e-9 {
			t.Errorf("%v: %g mm, want %g", at, got, want)
		}
	}
	if got := LeadMarginMM(&survey.Craft{}, r3.Vec{}); !math.IsInf(got, 1) {
		t.Errorf("without a lead %g mm", got)
	}
}
